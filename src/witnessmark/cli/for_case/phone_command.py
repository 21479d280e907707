"""``witnessmark phone``: may it move? The questions of the phone and the roadside."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from witnessmark.cli.main import echo_json


@click.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.option("--family", "families", multiple=True, help="Complaint family; may be repeated.")
@click.option(
    "--answer",
    "answers",
    multiple=True,
    help="QUESTION=NUMBER, or QUESTION=? for don't know; may be repeated.",
)
@click.option("--case", "case_id", help="Write the answers down in this case.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    shop: Path,
    families: tuple[str, ...],
    answers: tuple[str, ...],
    case_id: str | None,
    as_json: bool,
) -> None:
    """Say by the driver's answers whether a truck parks, is towed, limps or drives in.

    Without --answer the questions are listed with their numbers.
    """
    from witnessmark.words.say import phone as say
    from witnessmark.workflow.case.packs_of_shop import knowledge_of
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.phone import UNKNOWN, questions_of, told, write_down

    opened = open_shop(shop)
    known = knowledge_of(opened)
    for family in families:
        if family not in known.families:
            raise click.UsageError(f"'{family}' is no family that the packs know.")
    asked = questions_of(known, families)
    if not answers:
        if as_json:
            echo_json({"questions": [asdict(q) for q in asked.every]})
            return
        for question in asked.every:
            click.echo(f"{question.id}: {question.ask}")
            for number, answer in enumerate(question.answers, 1):
                click.echo(f"  {number}  {answer.answer}")
            click.echo(f"  {UNKNOWN}  don't know")
        return
    given = dict(_pair(text) for text in answers)
    found = told(asked, given)
    added = write_down(opened, case_id, found) if case_id else []
    if as_json:
        echo_json({**asdict(found), "added": added})
        return
    click.echo(found.word)
    click.echo(found.tell)
    for line in (*found.reasons, *found.also):
        click.echo(f"  {line}")
    if found.later:
        click.echo(f"{say.later()}:")
    for line in found.later:
        click.echo(f"  {line}")
    if found.unasked and found.drive == "ask":
        click.echo(say.unasked(found.unasked))
    click.echo(say.defer())
    if added:
        click.echo(f"Written down: {', '.join(added)}.")


def _pair(text: str) -> tuple[str, str]:
    name, mark, value = text.partition("=")
    if not mark:
        raise click.UsageError(f"'{text}' is not QUESTION=NUMBER.")
    return name.strip(), value.strip()
