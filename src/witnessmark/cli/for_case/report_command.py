"""``witnessmark report``: the customer's page, its appendix, or the estimate."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import allow_option, echo_json


@click.command()
@click.argument("case", type=click.Path(path_type=Path))
@click.argument("case_id", required=False)
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="FILE.pdf or FILE.html."
)
@click.option("--quote", is_flag=True, help="The estimate instead of the report.")
@click.option("--appendix", is_flag=True, help="The technician's appendix: every number.")
@click.option(
    "--language", type=click.Choice(["en", "es"]), help="Of the customer's page and the estimate."
)
@click.option("--shop-name", default="", help="Name of the shop for the head of the paper.")
@click.option("--si", is_flag=True, help="Show SI units.")
@click.option(
    "--pack",
    "packs",
    multiple=True,
    type=click.Path(path_type=Path, exists=True),
    help="A knowledge pack of the shop's own for a case in a file; may be repeated.",
)
@allow_option
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def command(
    case: Path, case_id: str | None, out: Path, quote: bool, appendix: bool,
    language: str | None, shop_name: str, si: bool,
    packs: tuple[Path, ...], allow: tuple[Path, ...], as_json: bool,
) -> None:  # fmt: skip
    """Write the paper on CASE (a .jsonl file), or on CASE-ID of the shop in folder CASE."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.papers.case_papers import (
        check_place,
        paper_of_file,
        paper_of_shop,
        write_paper,
    )
    from witnessmark.workflow.papers.front_page import page_of_file, page_of_shop, write_page

    check_place(out)
    told = language or ""
    if not quote and not appendix:
        if case_id is not None:
            page = page_of_shop(open_shop(case), case_id, language=told, name=shop_name, si=si)
        else:
            case_id, page = page_of_file(
                case, packs=packs, allow=allow, name=shop_name, si=si, language=told
            )
        write_page(page, out)
    else:
        if case_id is not None:
            shop = open_shop(case)
            paper = paper_of_shop(shop, case_id, quote, name=shop_name, si=si, language=told)
        else:
            case_id, paper = paper_of_file(
                case, quote, packs=packs, allow=allow, name=shop_name, si=si, language=told
            )
        write_paper(paper, out)
    if as_json:
        kind = "estimate" if quote else "appendix" if appendix else "report"
        echo_json({"file": str(out), "case": case_id, "paper": kind})
    else:
        click.echo(f"Written: {out}")
