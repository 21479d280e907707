"""``witnessmark complaint``: what a complaint may be about, and saying so."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import echo_json

SHOP = click.argument("shop", type=click.Path(path_type=Path))
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.group()
def command() -> None:
    """What a complaint may be about by its words, and naming it."""


@command.command()
@SHOP
@click.argument("words")
@AS_JSON
def guess(shop: Path, words: str, as_json: bool) -> None:
    """Say which families the driver's WORDS may be about, and why; nothing is stored."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.sounds_like import sounds_like, suggested_words

    found = sounds_like(open_shop(shop), words)
    if as_json:
        rows = [{"family": s.family, "name": s.name, "because": s.because} for s in found]
        echo_json({"words": words, "families": rows, "said": suggested_words(found)})
        return
    click.echo(suggested_words(found))
    for s in found:
        click.echo(f"  {s.family:22} {s.name} ({s.because})")


@command.command()
@SHOP
@click.argument("case_id")
@click.argument("entry")
@click.argument("families", nargs=-1, required=True)
@AS_JSON
def name(shop: Path, case_id: str, entry: str, families: tuple[str, ...], as_json: bool) -> None:
    """Say that the complaint ENTRY of a case is about these FAMILIES, one or several."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.sounds_like import name_families

    made = name_families(open_shop(shop), case_id, entry, families)
    if as_json:
        echo_json({"case": case_id, "complaint": made, "families": list(families)})
    else:
        click.echo(f"Complaint {made} is about {', '.join(families)}.")
