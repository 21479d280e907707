"""``witnessmark record``: record the data bus to a file."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from witnessmark.cli.main import echo_json

if TYPE_CHECKING:
    from witnessmark.workflow.record import Progress


@click.command()
@click.option("--bus", required=True, help="interface:channel, such as socketcan:can0.")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="A new file.")
@click.option("--bitrate", type=int, help="Bits per second; trucks use 250000 or 500000.")
@click.option("--seconds", type=float, help="Stop after so many seconds; else with Ctrl-C.")
@click.option(
    "--family", "families", multiple=True, help="Complaint family, for the road-test card."
)
@click.option("--si", is_flag=True, help="Show SI units instead of the shop's.")
@click.option("--json", "json_wanted", is_flag=True, help="Print JSON at the end, nothing before.")
def command(
    bus: str,
    out: Path,
    bitrate: int | None,
    seconds: float | None,
    families: tuple[str, ...],
    si: bool,
    json_wanted: bool,
) -> None:
    """Record the bus to a file (candump text), showing values and ticking off the road test.

    Let a second person watch the screen while the truck is driven.
    """
    from witnessmark.workflow.record import record

    end = record(
        bus,
        out,
        seconds=seconds,
        bitrate=bitrate,
        families=families,
        si=si,
        tell=None if json_wanted else _tell,
    )
    if json_wanted:
        echo_json({"file": str(out), **asdict(end)})
        return
    click.echo(f"{end.frames:,} frames in {end.seconds:.1f} s are in {out}.")
    for line in end.card:
        mark = "done" if line.covered else "open"
        click.echo(f"  {mark}: {line.words if line.covered else line.missing}")


def _tell(progress: Progress) -> None:
    state = "" if progress.connected else "  BUS IS GONE, waiting for it"
    parts = [f"{name.replace('_', ' ')} {text}" for name, text in progress.values.items()]
    covered = sum(line.covered for line in progress.card)
    card = f"  road test {covered} of {len(progress.card)}" if progress.card else ""
    click.echo(f"{progress.seconds:7.1f} s {progress.frames:>9,} frames{state}{card}")
    if parts:
        click.echo("          " + "; ".join(parts))
    still = next((line.missing for line in progress.card if not line.covered), "")
    if still:
        click.echo(f"          next: {still}")
