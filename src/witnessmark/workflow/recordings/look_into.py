"""Look into recordings: what is in them, before anything is concluded."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from witnessmark.analyses.road.road_test import CardLine, road_test_card
from witnessmark.analyses.steady import steady_points
from witnessmark.errors import InputRefused, NothingUsable, WitnessmarkError
from witnessmark.model.problem import Problem
from witnessmark.model.recording import Channel, Quality, Recording, Steady
from witnessmark.readers import ReaderSettings, read_recording
from witnessmark.readers.columns.remembered import recall
from witnessmark.readers.columns.remembered import remember as remember_columns
from witnessmark.readers.files.keep import let_go
from witnessmark.readers.tables.table_recording import header_key_of
from witnessmark.units import QUANTITIES, display_unit, from_house

if TYPE_CHECKING:
    from witnessmark.model.entries.entry_data import TruckData
    from witnessmark.workflow.recordings.drive_card import CardDrive

__all__ = [
    "Look",
    "as_json",
    "card_of",
    "channel_json",
    "file_settings",
    "has_engine_data",
    "line_in_words",
    "look",
    "nothing_found",
    "wheels_in_words",
]


@dataclass(frozen=True, slots=True)
class Look:
    """One file as it was found.

    Attributes:
        file: the path as given.
        recording: what was read, ``None`` when the file was refused.
        steady: steady operating points.
        problems: of the file, and the refusal where there was one.
        error: the refusal, ``None`` where the file was read.
    """

    file: str
    recording: Recording | None
    steady: tuple[Steady, ...] = ()
    problems: tuple[Problem, ...] = ()
    error: WitnessmarkError | None = None


def look(
    paths: Sequence[Path], *, settings: ReaderSettings | None = None, truck: TruckData | None = None
) -> list[Look]:
    """Look into each file; a file that is refused does not stop the others."""
    found = []
    for path in paths:
        try:
            recording = read_recording(path, settings=settings)
        except WitnessmarkError as error:
            problem = Problem.of(error, where=str(path))
            found.append(Look(str(path), None, problems=(problem,), error=error))
            continue
        steady = steady_points(recording, truck)
        found.append(Look(str(path), recording, steady, recording.problems))
    return found


def file_settings(
    files: Sequence[Path] = (),
    *,
    dbc: Sequence[Path] = (),
    interval_s: float | None = None,
    rate_hz: float | None = None,
    month_first: bool | None = None,
    columns: Sequence[str] = (),
    remember: Path | None = None,
) -> ReaderSettings:
    """Return the settings for what a user said about the files.

    Args:
        files: the files the named *columns* belong to.
        dbc: DBC files.
        interval_s: time between frames or rows without time stamps [s].
        rate_hz: sampling rate of waveforms that do not state it [Hz].
        month_first: how dates such as 03/04/2026 are read.
        columns: names of columns, each ``HEADING=quantity [unit]``.
        remember: file of remembered names; *columns* are added to it.
    """
    known = recall(remember) if remember is not None else {}
    settings = ReaderSettings(
        dbc=tuple(dbc), sample_interval_s=interval_s, rate_hz=rate_hz, month_first=month_first
    )
    if columns:
        named = dict(_named(text) for text in columns)
        for path in files:
            key = header_key_of(path, settings)
            if key is None:
                continue
            known.setdefault(key, {}).update(named)
            if remember is not None:
                remember_columns(remember, key, named)
    return replace(settings, columns=known)


def has_engine_data(recording: Recording) -> bool:
    """Say whether the job can use anything in it: a known quantity, a code, a waveform, teeth."""
    if recording.kind in {"waveform", "tooth_timing"}:
        return bool(recording.channels)
    known = any(c.name in QUANTITIES for c in recording.channels)
    known = known or (bool(recording.facts.get("own_signals")) and bool(recording.channels))
    return known or bool(recording.trouble_codes) or bool(recording.facts.get("could_be"))


def nothing_found(looks: Sequence[Look]) -> WitnessmarkError | None:
    """Return the refusal the command ends with; ``None`` when a file could be used.

    A file that could not be read at all weighs more than one that holds nothing.
    """
    refused = [one.error for one in looks if one.error is not None]
    if refused:
        return refused[0]
    if any(one.recording is not None and has_engine_data(one.recording) for one in looks):
        return None
    return NothingUsable(
        "No engine data found.",
        where=looks[0].file if len(looks) == 1 else "",
        do="Record on the truck's diagnostic connector, or name the columns or a DBC file.",
    )


def card_of(drive: CardDrive | None, looks: Sequence[Look]) -> tuple[CardLine, ...]:
    """Return the road-test card of a case for these files; nothing without a case."""
    if drive is None or not drive.families:
        return ()
    found = [one.recording for one in looks if one.recording is not None]
    return road_test_card(
        drive.families, found, drive.truck, drive.stops, knowledge=drive.knowledge
    )


def line_in_words(line: CardLine) -> str:
    """Return one line of the card: done, or what to drive."""
    if line.forbidden:
        return f"not to be driven, {line.words}: {line.forbidden}"
    return f"done: {line.words}" if line.covered else f"open: {line.missing}"


def wheels_in_words(recording: Recording) -> list[str]:
    """Return a line for every pickup's wheel; both readings where its teeth fit two."""
    rows = recording.facts.get("wheels")
    found = []
    for row in rows if isinstance(rows, list) else []:
        ways = [_wheel(row), *(_wheel(other) for other in row.get("could_also_be", ()))]
        words = f"wheel of {row['channel']}: {' or '.join(ways)}"
        if len(ways) > 1:
            words += "; teeth alone do not tell these apart, record the camshaft beside them"
        found.append(words)
    return found


def _wheel(row: Mapping[str, Any]) -> str:
    speeds = row.get("turn_rpm")
    return f"{row['wheel']} at {speeds[1]:.0f} r/min" if speeds else str(row["wheel"])


def as_json(
    one: Look, *, si: bool = False, card: Sequence[CardLine] | None = None
) -> dict[str, object]:
    """Return the object that ``look --json`` prints for one file.

    Args:
        one: the file.
        si: in SI units.
        card: the road-test card of a case, where one was named.
    """
    found = _file_json(one, si=si)
    if card:
        found["road_test"] = [
            {
                "point": line.point,
                "words": line.words,
                "families": list(line.families),
                "covered": line.covered,
                "missing": line.missing,
                "longest_s": line.best_s,
                "start_s": line.start_s,
                "end_s": line.end_s,
                "caution": line.caution,
                "forbidden": line.forbidden,
            }
            for line in card
        ]
    return found


def _file_json(one: Look, *, si: bool) -> dict[str, object]:
    recording = one.recording
    problems = [{"where": p.where, "what": p.what, "do": p.do} for p in one.problems]
    if recording is None:
        return {
            "file": one.file,
            "sha256": None,
            "kind": None,
            "duration_s": None,
            "channels": [],
            "trouble_codes": [],
            "steady": [],
            "problems": problems,
        }
    return {
        "file": one.file,
        "sha256": recording.sha256,
        "kind": recording.kind,
        "format": recording.format,
        "duration_s": _number(recording.duration_s),
        "frames": recording.frames,
        "sources": list(recording.sources),
        "channels": [channel_json(c, si=si) for c in recording.channels],
        "trouble_codes": [
            {
                "spn": c.spn,
                "fmi": c.fmi,
                "count": c.count,
                "source": c.source,
                "first_s": _number(c.first_s),
                "last_s": _number(c.last_s),
                "active": c.active,
                "lamps": list(c.lamps),
                "messages": c.messages,
                "bus": c.bus or None,
            }
            for c in recording.trouble_codes
        ],
        "steady": [
            {
                "start_s": s.start_s,
                "end_s": s.end_s,
                "rpm": s.rpm,
                "load": s.load,
                "name": s.name,
                "gear": s.gear,
                "rpm_per_kmh": s.rpm_per_kmh,
                "gear_group": s.group or None,
                "warm": s.warm,
            }
            for s in one.steady
        ],
        "flags": [
            {
                "channel": f.channel,
                "source": f.source,
                "bus": f.bus or None,
                "quality": f.quality.name.lower(),
                "start_s": _number(f.start_s),
                "end_s": _number(f.end_s),
                "note": f.note,
            }
            for f in recording.flags
        ],
        "problems": problems,
        "facts": recording.facts,
    }


def channel_json(channel: Channel, *, si: bool = False) -> dict[str, object]:
    """Return one channel of ``look --json``: counts, and the range of its readings."""
    unit = display_unit(channel.name, si=si) if channel.name in QUANTITIES else channel.unit
    valid = channel.valid()
    values = channel.values[valid] if not valid.all() else channel.values
    low = middle = high = None
    if values.size:
        low = _shown(channel, float(values.min()), unit)
        high = _shown(channel, float(values.max()), unit)
        middle = _shown(channel, float(np.median(values)), unit)
    counts = [channel.count(quality) for quality in Quality]
    let_go(channel)
    return {
        "name": channel.name,
        "label": channel.label,
        "spn": channel.spn,
        "source": channel.source,
        "bus": channel.bus or None,
        "unit": unit,
        "samples": int(channel.values.size),
        "valid": counts[Quality.VALID],
        "error_coded": counts[Quality.ERROR],
        "not_available": counts[Quality.NOT_AVAILABLE],
        "reserved": counts[Quality.RESERVED],
        "implausible": counts[Quality.IMPLAUSIBLE],
        "start_up": counts[Quality.START_UP],
        "substituted": counts[Quality.SUBSTITUTED],
        "repeated": counts[Quality.REPEATED],
        "rate_hz": _rate(channel),
        "min": low,
        "median": middle,
        "max": high,
    }


def _named(text: str) -> tuple[str, str]:
    heading, mark, name = text.rpartition("=")
    if not mark or not heading.strip() or not name.strip():
        raise InputRefused(
            f"'{text[:60]}' does not name a column.",
            do="Write 'HEADING=quantity [unit]', such as 'speed=road_speed [mph]'.",
        )
    return heading.strip(), name.strip()


def _rate(channel: Channel) -> float | None:
    if channel.rate_hz is not None:
        return _number(channel.rate_hz)
    time = channel.time_s
    if time.size < 3 or np.isnan(time[0]) or time[-1] <= time[0]:
        return None
    return _number(round((time.size - 1) / float(time[-1] - time[0]), 4))


def _shown(channel: Channel, value: float, unit: str) -> float | None:
    if channel.name in QUANTITIES:
        value = from_house(channel.name, value, unit)
    return _number(float(f"{value:.9g}"))


def _number(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
