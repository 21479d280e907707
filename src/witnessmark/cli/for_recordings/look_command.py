"""``witnessmark look``: what is in a recording."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from witnessmark.cli.main import echo_json
from witnessmark.errors import InputRefused
from witnessmark.words.masking import hidden, hide
from witnessmark.words.numbers import percentage

if TYPE_CHECKING:
    from witnessmark.workflow.recordings.drive_card import CardDrive
    from witnessmark.workflow.recordings.look_into import Look


@click.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--json", "json_wanted", is_flag=True, help="Print JSON.")
@click.option("--si", is_flag=True, help="Show SI units instead of the shop's.")
@click.option(
    "--dbc", multiple=True, type=click.Path(path_type=Path), help="A DBC file for the bus."
)
@click.option(
    "--column",
    "columns",
    multiple=True,
    help="Name a column: 'HEADING=quantity [unit]', 'HEADING=time' or 'HEADING=ignore'.",
)
@click.option(
    "--remember",
    type=click.Path(path_type=Path),
    help="A file that keeps what columns were named, for all files with the same headings.",
)
@click.option(
    "--case",
    type=click.Path(path_type=Path),
    help="A case (.jsonl), or a shop's folder with --case-id: its truck tells the gears.",
)
@click.option("--case-id", help="The case in the shop that --case names.")
@click.option("--interval", type=float, help="Seconds between frames where the file has no times.")
@click.option("--rate", type=float, help="Samples per second where a waveform does not say it.")
@click.option(
    "--month-first/--day-first",
    "month_first",
    default=None,
    help="How dates such as 03/04/2026 are read.",
)
@click.option(
    "--show-identity",
    is_flag=True,
    help="Show vehicle identification, plates and names; without it they are stars.",
)
def command(
    files: tuple[Path, ...],
    json_wanted: bool,
    si: bool,
    dbc: tuple[Path, ...],
    columns: tuple[str, ...],
    remember: Path | None,
    case: Path | None,
    case_id: str | None,
    interval: float | None,
    rate: float | None,
    month_first: bool | None,
    show_identity: bool,
) -> None:
    """Say what is in each FILE: channels, units, rates, gaps, steady points, codes, problems."""
    from witnessmark.workflow.recordings.look_into import (
        as_json,
        card_of,
        file_settings,
        line_in_words,
        look,
        nothing_found,
    )

    settings = file_settings(
        files,
        dbc=dbc,
        interval_s=interval,
        rate_hz=rate,
        month_first=month_first,
        columns=columns,
        remember=remember,
    )
    settings = replace(settings, show_identity=show_identity)
    drive = _drive(case, case_id)
    looks = look(files, settings=settings, truck=drive.truck if drive is not None else None)
    if json_wanted:
        rows = [as_json(one, si=si, card=card_of(drive, [one])) for one in looks]
        echo_json(rows if show_identity else hidden(rows))
    else:
        for one in looks:
            _print(one, si=si, say=_say if show_identity else _say_hidden)
        for stop in drive.stops if drive is not None else ():
            click.echo(f"  SAFETY FIRST: {stop.name}. {stop.why}")
        for line in card_of(drive, looks):
            click.echo("  road test, " + line_in_words(line))
    refusal = nothing_found(looks)
    if refusal is not None:
        raise refusal


def _drive(case: Path | None, case_id: str | None) -> CardDrive | None:
    if case is None:
        if case_id is not None:
            raise InputRefused("--case-id needs --case.", do="Name the shop's folder with --case.")
        return None
    from witnessmark.workflow.dossier.drive_of_case import drive_of

    return drive_of(case, case_id)


def _say(words: str) -> None:
    click.echo(words)


def _say_hidden(words: str) -> None:
    click.echo(hide(words))


def _print(one: Look, *, si: bool, say: Callable[[str], None]) -> None:
    from witnessmark.workflow.recordings.look_into import as_json, wheels_in_words

    shown = as_json(one, si=si)
    recording = one.recording
    say(click.style(one.file, bold=True))
    if recording is not None:
        duration = recording.duration_s
        length = f"{duration:,.2f} s" if duration is not None else "no time stamps"
        say(f"  {recording.format}, {recording.frames:,} frames or rows, {length}")
        say(f"  {'channel':34} {'from':>4} {'samples':>9} {'valid':>9}   range")
        channels = shown["channels"]
        silent = 0
        for row in channels if isinstance(channels, list) else []:
            if not row["valid"] and not row["error_coded"] and not row["start_up"]:
                silent += 1
                continue
            say("  " + _channel_line(row))
        if silent:
            say(f"  and {silent} channels that are sent but never available")
        for code in recording.trouble_codes:
            state = "active" if code.active else "previously active"
            count = "" if code.count is None else f", {code.count} times"
            say(
                f"  code SPN {code.spn} FMI {code.fmi} from control unit {code.source}: {state}"
                f"{count}, {code.messages} messages"
            )
        for point in one.steady:
            parts = [f"{point.rpm:.0f} rpm"]
            if point.load is not None:
                parts.append(f"load {percentage(point.load)}")
            if point.gear is not None:
                parts.append(f"gear {point.gear}")
            elif point.group:
                parts.append(f"gear {point.group}")
            if point.warm is not None:
                parts.append("warm" if point.warm else "cold")
            name = point.name or "steady"
            say(f"  {name}, {', '.join(parts)}: {point.start_s:.1f} s to {point.end_s:.1f} s")
        for words in wheels_in_words(recording):
            say("  " + words)
        for flag in recording.flags[:30]:
            say(f"  not a reading: {flag.channel} at {flag.start_s:.1f} s: {flag.note}")
        if len(recording.flags) > 30:
            say(f"  and {len(recording.flags) - 30} more spans (--json lists them)")
    for problem in one.problems:
        say(f"  problem: {problem.what} {problem.do}".rstrip())


def _channel_line(row: dict[str, object]) -> str:
    numbers = [row[name] for name in ("min", "median", "max")]
    if all(isinstance(n, int | float) for n in numbers):
        shown = " / ".join(f"{n:.5g}" for n in numbers if isinstance(n, int | float))
        text = f"{shown} {row['unit']}"
    else:
        text = "no reading"
    if row["error_coded"]:
        text += f"; {row['error_coded']} say the sensor circuit is at fault"
    if row["start_up"]:
        text += f"; {row['start_up']} start-up defaults"
    source = "" if row["source"] is None else str(row["source"])
    return f"{row['name']!s:34} {source:>4} {row['samples']!s:>9} {row['valid']!s:>9}   {text}"
