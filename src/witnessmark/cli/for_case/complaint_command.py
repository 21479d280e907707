"""``witnessmark complaint``: what a complaint may be about, and saying so."""

from __future__ import annotations

from pathlib import Path
from typing import Any

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


@command.command()
@SHOP
@click.argument("case_id")
@click.argument("entry")
@click.option("--called", required=True, help="What the complaint is called.")
@click.option(
    "--suspect",
    "suspects",
    multiple=True,
    required=True,
    help="NAME or NAME=WEIGHT: most likely, likely, possible, long shot. May be repeated.",
)
@click.option(
    "--test",
    "tests",
    multiple=True,
    help="NAME=SUSPECT, SUSPECT: a test, and the suspects that it would find. May be repeated.",
)
@AS_JSON
def suspects(
    shop: Path,
    case_id: str,
    entry: str,
    called: str,
    suspects: tuple[str, ...],
    tests: tuple[str, ...],
    as_json: bool,
) -> None:
    """Name your own suspects of the complaint ENTRY, and the tests that would part them."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.own_suspects import name_suspects

    own: dict[str, Any] = {
        "called": called,
        "suspects": [_suspect(text) for text in suspects],
        "tests": [_test(text) for text in tests],
    }
    made = name_suspects(open_shop(shop), case_id, entry, own)
    if as_json:
        echo_json({"case": case_id, "complaint": made, "own": own})
    else:
        click.echo(f"Complaint {made} has {len(suspects)} suspects of its own.")


@command.command()
@SHOP
@click.argument("case_id")
@click.argument("entry")
@AS_JSON
def save(shop: Path, case_id: str, entry: str, as_json: bool) -> None:
    """Save the suspects of the complaint ENTRY as a family of the shop's own."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.own_suspects import save_own_family

    path = save_own_family(open_shop(shop), case_id, entry)
    if as_json:
        echo_json({"family": path.stem, "file": str(path)})
    else:
        click.echo(f"Saved as the shop's own family {path.stem}: {path}")


def _suspect(text: str) -> dict[str, str]:
    name, _, weight = text.partition("=")
    return {"name": name.strip(), **({"weight": weight.strip()} if weight.strip() else {})}


def _test(text: str) -> dict[str, Any]:
    name, mark, shows = text.rpartition("=")
    if not mark:
        raise click.UsageError(f"'{text}' is not NAME=SUSPECT, SUSPECT.")
    return {"name": name.strip(), "shows": [s.strip() for s in shows.split(",") if s.strip()]}
