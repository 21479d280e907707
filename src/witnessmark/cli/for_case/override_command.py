"""``witnessmark override``: do something else than proposed, say why, and see who was right."""

from __future__ import annotations

from pathlib import Path

import click

from witnessmark.cli.main import echo_json


@click.group()
def command() -> None:
    """Do something else than proposed, with a reason; the tool keeps score of both."""


@command.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.argument("case_id")
@click.argument("step")
@click.option("--because", required=True, help="Why; it is kept with the case.")
@click.option("--by", default="", help="Who decides; needed where a stop forbids STEP.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def add(shop: Path, case_id: str, step: str, because: str, by: str, as_json: bool) -> None:
    """Record that STEP is done instead of what the tool proposes first."""
    from witnessmark.model.entries.entry_data import NoteData
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.own_ways import record_override

    entry = record_override(open_shop(shop), case_id, step, because, name=by)
    words = entry.data.words if isinstance(entry.data, NoteData) else ""
    if as_json:
        echo_json({"entry": entry.id, "words": words})
    else:
        click.echo(words)


@command.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def score(shop: Path, as_json: bool) -> None:
    """Show every override of SHOP and who was right once a cause was proven."""
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.own_ways import score_overrides

    found = score_overrides(open_shop(shop))
    if as_json:
        echo_json(
            {
                "tool": found.tool,
                "technician": found.technician,
                "level": found.level,
                "open": found.open,
                "overrides": [
                    {
                        "case": o.case,
                        "entry": o.entry,
                        "at": o.at,
                        "proposed": o.proposed[1],
                        "chosen": o.chosen[1],
                        "reason": o.reason,
                        "extra_usd": o.extra_usd,
                        "right": o.right,
                    }
                    for o in found.rows
                ],
            }
        )
        return
    for o in found.rows:
        click.echo(
            f"{o.case} {o.at[:10]}  proposed {o.proposed[1]}, did {o.chosen[1]}: {o.reason}"
            f"  [{o.right}]"
        )
    click.echo(
        f"Tool right {found.tool}, technician right {found.technician}, level {found.level}, "
        f"not yet proven {found.open}."
    )
