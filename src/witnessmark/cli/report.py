"""``witnessmark report``: the customer's report, or the estimate."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import echo_json


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.argument("case_id", required=False)
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="FILE.pdf or FILE.html."
)
@click.option("--quote", is_flag=True, help="The estimate instead of the report.")
@click.option("--shop-name", default="", help="Name of the shop for the head of the paper.")
@click.option("--si", is_flag=True, help="Show SI units.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    case: Path, case_id: str | None, out: Path, quote: bool, shop_name: str, si: bool,
    as_json: bool,
) -> None:  # fmt: skip
    """Write the paper on CASE (a .jsonl file), or on CASE-ID of the shop in folder CASE."""
    from witnessmark.workflow.assess import assess_file, assess_in_shop
    from witnessmark.workflow.paper import check_place, paper_of, write_paper
    from witnessmark.workflow.settings import settings_of
    from witnessmark.workflow.shop import open_shop

    check_place(out)
    settings = None
    if case_id is not None:
        shop = open_shop(case)
        assessment, settings = assess_in_shop(shop, case_id), settings_of(shop)
        shop_name = shop_name or str(shop.casebook.setting("shop_name") or "")
    else:
        assessment = assess_file(case)
    write_paper(paper_of(assessment, quote=quote, shop=shop_name, si=si, settings=settings), out)
    if as_json:
        echo_json({"file": str(out), "case": assessment.case.id,
                   "paper": "estimate" if quote else "report"})  # fmt: skip
    else:
        click.echo(f"Written: {out}")
