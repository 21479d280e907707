"""``witnessmark case clock``: time by start and stop."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from witnessmark.cli.main import echo_json

__all__ = ["clock"]


@click.command()
@click.argument("shop", type=click.Path(path_type=Path))
@click.argument("case_id")
@click.argument("does", type=click.Choice(["start", "stop", "show"]), default="show")
@click.option("--job", help="A step, test or cause by its id, QUOTE:LINE, 'diagnosis', or words.")
@click.option("--by", help="Whose time it is.")
@click.option("--both", is_flag=True, help="Start beside what is running; each counts half.")
@click.option(
    "--share", type=click.FloatRange(0, 1), help="Part that counts while two run, instead of half."
)
@click.option("--of", help="Entry to correct; with stop, the start whose end you say.")
@click.option("--at", help="When it was, such as 2026-03-02T16:30 by this machine's clock.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def clock(
    shop: Path,
    case_id: str,
    does: str,
    job: str | None,
    by: str | None,
    both: bool,
    share: float | None,
    of: str | None,
    at: str | None,
    as_json: bool,
) -> None:
    """Start or stop a job of a case of SHOP, or show what each person was clocked.

    A start ends what the person has running, in any case, unless --both. What was not stopped
    within 12 hours or on its day counts nothing until you say when: stop --of ENTRY --at TIME.
    """
    from witnessmark.errors import InputRefused
    from witnessmark.workflow.case.shop_on_disk import open_shop
    from witnessmark.workflow.shop.on_the_clock import clock_json, local_time, press

    opened = open_shop(shop)
    stored = None
    if does != "show":
        if does == "start" and not job and not of:
            raise InputRefused("The job is missing.", where="--job", do="Say what is begun.")
        told: dict[str, Any] = {"does": does, "person": by, "job": job, "of": of, "share": share}
        data = {k: v for k, v in told.items() if v is not None} | ({"both": True} if both else {})
        stored = press(opened, case_id, data, by=by, at=local_time(at) if at else None).id
    found = clock_json(opened, case_id)
    if as_json:
        echo_json(found | {"stored": stored})
        return
    for row in found["sums"]:
        click.echo(row["words"])
    for span in (*found["running"], *found["asked"]):
        click.echo(f"  {span['entry']}  {span['words']}")
    if not found["sums"]:
        click.echo("Nobody was on the clock.")
