"""``witnessmark export``: the shop's own figures as tables for other programs."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import echo_json


@click.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.argument("dest", type=click.Path(path_type=Path))
@click.option("--format", "form", type=click.Choice(["csv", "parquet"]), default="csv",
              show_default=True)  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(shop: Path, dest: Path, form: str, as_json: bool) -> None:
    """Write lines, labour, parts, readings and history of SHOP into folder DEST as tables."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.tables_out import export_tables

    files = export_tables(open_shop(shop), dest, form=form)
    if as_json:
        echo_json({"files": [str(path) for path in files]})
    else:
        for path in files:
            click.echo(f"Written: {path}")
