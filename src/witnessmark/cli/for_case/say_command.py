"""``witnessmark case say``: one line as it is said, and the entries that it means."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from witnessmark.cli.main import echo_json

__all__ = ["say"]


@click.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.argument("case_id")
@click.argument("line")
@click.option("--yes", is_flag=True, help="Take the cards that are sure; keep the rest as a note.")
@click.option("--take", "numbers", type=int, multiple=True, help="Take this card, too, by number.")
@click.option("--by", help="Who says so.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def say(
    shop: Path,
    case_id: str,
    line: str,
    yes: bool,
    numbers: tuple[int, ...],
    by: str | None,
    as_json: bool,
) -> None:
    """Show what LINE means in a case of SHOP: a card for each entry, with what is asked back.

    Nothing is stored without --yes or --take. What is not understood is kept as a note.
    """
    from witnessmark.errors import InputRefused
    from witnessmark.workflow.case.packs_of_shop import knowledge_of
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.saying.take import as_entry, card_words, meaning_in_case, note_of
    from witnessmark.workflow.saying.take import store as store_cards

    opened = open_shop(shop)
    if not line.strip():
        raise InputRefused("The line is empty.", do="Say what was measured, seen or done.")
    meaning = meaning_in_case(opened, case_id, line)
    case, knowledge = opened.case(case_id), knowledge_of(opened)
    wrong = [n for n in numbers if not 1 <= n <= len(meaning.cards)]
    if wrong:
        raise InputRefused(
            f"There is no card {wrong[0]}: the line gives {len(meaning.cards)}.",
            do="Look at the cards without --take first.",
        )
    taken = [c for n, c in enumerate(meaning.cards, 1) if (yes and c.sure) or n in numbers]
    stored: list[str] = []
    if yes or numbers:
        stored = store_cards(opened, case_id, taken, note_of(meaning, taken), by=by)
    rows: list[dict[str, Any]] = []
    for number, card in enumerate(meaning.cards, 1):
        kind, _ = as_entry(card, case, knowledge)
        rows.append({
            "number": number, "kind": card.kind, "data": dict(card.data),
            "words": card_words(card, knowledge), "said": card.said, "sure": card.sure,
            "needs": list(card.needs), "also": list(card.also), "stored_as": kind,
            "taken": card in taken,
        })  # fmt: skip
    if as_json:
        echo_json({"case": case_id, "line": meaning.line, "cards": rows,
                   "asks": list(meaning.asks), "left": meaning.left, "stored": stored})  # fmt: skip
        return
    for row in rows:
        mark = "taken" if row["taken"] else ("sure " if row["sure"] else "asks ")
        kept = "" if row["stored_as"] == row["kind"] else "  [kept as a note]"
        click.echo(f"{row['number']:2} {mark}  {row['words']}{kept}")
        for ask in (*row["needs"], *row["also"]):
            click.echo(f"          ? {ask}")
    for ask in meaning.asks:
        click.echo(f"   ? {ask}")
    if meaning.left:
        click.echo(f"   not understood, kept as a note: {meaning.left}")
    if stored:
        click.echo(f"Added {', '.join(stored)}.")
    elif rows:
        click.echo("Nothing is stored yet: --yes takes the sure ones, --take N that card.")
