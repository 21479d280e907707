"""``witnessmark record``: record the data bus to a file."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import click

from witnessmark.cli.main import echo_json
from witnessmark.errors import InputRefused

if TYPE_CHECKING:
    from witnessmark.workflow.recordings.record_bus import RecordProgress


@click.command()
@click.option(
    "--bus",
    "buses",
    required=True,
    multiple=True,
    help="interface:channel, such as socketcan:can0; may be repeated, all on one clock.",
)
@click.option(
    "--rotate", type=float, metavar="MB", help="Begin a new file behind so many megabytes."
)
@click.option("--out", required=True, type=click.Path(path_type=Path), help="A new file.")
@click.option(
    "--bitrate",
    help="Bits per second; trucks use 250000 or 500000. 'auto' finds it with an adapter that can "
    "be told to listen only, and is refused with any other.",
)
@click.option("--seconds", type=float, help="Stop after so many seconds; else with Ctrl-C.")
@click.option(
    "--family", "families", multiple=True, help="Complaint family, for the road-test card."
)
@click.option(
    "--case",
    "case",
    type=click.Path(path_type=Path),
    help="A case (.jsonl), or a shop's folder with --case-id: its truck and its complaints.",
)
@click.option("--case-id", help="The case in the shop that --case names.")
@click.option(
    "--pack",
    "packs",
    multiple=True,
    type=click.Path(path_type=Path, exists=True),
    help="A knowledge pack of the shop's own; may be repeated.",
)
@click.option("--si", is_flag=True, help="Show SI units instead of the shop's.")
@click.option("--json", "json_wanted", is_flag=True, help="Print JSON at the end, nothing before.")
def command(
    buses: tuple[str, ...],
    rotate: float | None,
    out: Path,
    bitrate: str | None,
    seconds: float | None,
    families: tuple[str, ...],
    case: Path | None,
    case_id: str | None,
    packs: tuple[Path, ...],
    si: bool,
    json_wanted: bool,
) -> None:
    """Record the bus to a file (candump text), showing values and ticking off the road test.

    Let a second person watch the screen while the truck is driven.
    """
    from witnessmark.workflow.dossier.drive_of_case import drive_of
    from witnessmark.workflow.recordings.look_into import line_in_words
    from witnessmark.workflow.recordings.record_bus import record

    if case_id is not None and case is None:
        raise InputRefused("--case-id needs --case SHOP.", do="Name the shop's folder with --case.")
    drive = drive_of(case, case_id, packs=packs) if case is not None else None
    if drive is not None:
        families = tuple(dict.fromkeys((*drive.families, *families)))
    if drive is not None and not json_wanted:
        for stop in drive.stops:
            click.echo(f"SAFETY FIRST: {stop.name}. {stop.why}")
    end = record(
        buses,
        out,
        seconds=seconds,
        bitrate=_rate(bitrate),
        families=families,
        truck=drive.truck if drive is not None else None,
        stops=drive.stops if drive is not None else (),
        knowledge=drive.knowledge if drive is not None else None,
        si=si,
        tell=None if json_wanted else _tell,
        rotate_bytes=None if rotate is None else int(rotate * 1e6),
    )
    if json_wanted:
        stops = [s.name for s in drive.stops] if drive is not None else []
        echo_json({"file": str(out), **asdict(end), "stops": stops})
        return
    click.echo(f"{end.frames:,} frames in {end.seconds:.1f} s are in {', '.join(end.files)}.")
    for name, quiet in end.listens_only.items():
        if not quiet:
            click.echo(
                f"  {name} could not be told to listen only: unless it was set so outside, its "
                "adapter acknowledged frames."
            )
    if end.stopped:
        raise InputRefused(end.stopped, where=str(out), do="Make room, and record anew.")
    for band in end.bands.values():
        click.echo(f"  band: {band}")
    for line in end.card:
        click.echo("  " + line_in_words(line))


def _rate(text: str | None) -> int | Literal["auto"] | None:
    if text is None:
        return None
    if text.strip().lower() == "auto":
        return "auto"
    if not text.isdecimal():
        raise click.BadParameter(
            f"'{text}' is no bit rate: give bits per second, such as 250000, or auto.",
            param_hint="--bitrate",
        )
    return int(text)


def _tell(progress: RecordProgress) -> None:
    state = "" if progress.connected else "  BUS IS GONE, waiting for it"
    parts = [f"{name.replace('_', ' ')} {text}" for name, text in progress.values.items()]
    covered = sum(line.covered for line in progress.card)
    card = f"  road test {covered} of {len(progress.card)}" if progress.card else ""
    click.echo(f"{progress.seconds:7.1f} s {progress.frames:>9,} frames{state}{card}")
    if parts:
        click.echo("          " + "; ".join(parts))
    still = next((line.missing for line in progress.card if line.due), "")
    if still:
        click.echo(f"          next: {still}")
