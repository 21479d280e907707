"""``witnessmark due``: what is due in the shop, by day, miles and hours."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import echo_json
from witnessmark.words.say import due as say


@click.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(shop: Path, as_json: bool) -> None:
    """Show what is due in SHOP.

    Notes that say when, promised trucks and parts, cores to return, words of the day after, gauges
    to compare, and trucks that left their own band.
    """
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.due_list import due_json, due_of_shop

    found = due_of_shop(open_shop(shop))
    if as_json:
        echo_json({"due": due_json(found)})
        return
    for due in found:
        whose = f"{due.truck} ({due.case}): " if due.truck else ""
        click.echo(f"{say.when(due.now, due.days)}: {whose}{due.what}{say.at(due.at)}")
    if not found:
        click.echo(say.nothing())
