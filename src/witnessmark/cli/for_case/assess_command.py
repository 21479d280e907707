"""``witnessmark assess``: findings, odds, next steps and proof of a case."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import allow_option, echo_json


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.argument("case_id", required=False)
@allow_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.option("--numbers", is_flag=True, help="Say how sure in numbers too, with ids.")
@click.option("--si", is_flag=True, help="Show SI units.")
@click.option(
    "--pack",
    "packs",
    multiple=True,
    type=click.Path(path_type=Path, exists=True),
    help="A knowledge pack of the shop's own; may be repeated.",
)
def command(
    case: Path,
    case_id: str | None,
    as_json: bool,
    numbers: bool,
    si: bool,
    packs: tuple[Path, ...],
    allow: tuple[Path, ...],
) -> None:
    """Assess CASE (a .jsonl file), or CASE-ID of the shop in folder CASE."""
    from witnessmark.workflow.dossier.as_json import assessment_json
    from witnessmark.workflow.dossier.assess_case import assess_file
    from witnessmark.workflow.dossier.in_words import assessment_text

    if case_id is not None:
        from witnessmark.workflow.case.shop_on_disk import open_shop
        from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

        assessment = assess_in_shop(open_shop(case), case_id, packs=packs)
    else:
        assessment = assess_file(case, packs=packs, allow=allow)
    if as_json:
        echo_json(assessment_json(assessment, si=si))
    else:
        click.echo(assessment_text(assessment, si=si, numbers=numbers), nl=False)
