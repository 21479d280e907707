"""The tightenings of a case as lines of a card: what was typed, and what the check says of it."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from witnessmark.errors import UnitRefused
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.entries.tightened_data import Torque
from witnessmark.physics.fasteners.thread import read_thread
from witnessmark.physics.fasteners.tightening import Tightening, check, crowfoot_setting
from witnessmark.units import UNITS, parse
from witnessmark.words.say import tightened as say

__all__ = ["NOT_READ", "CardLine", "card_line", "card_lines", "remarks_on"]

NOT_READ = "not read from the manual"
_OTHER = {"N·m": "lbf·ft", "lbf·ft": "N·m", "lbf·in": "N·m", "kgf·m": "N·m"}
#: A wrench is read to this share (ISO 6789 allows a click wrench 4 %).
_READ_TO = 0.04


@dataclass(frozen=True, slots=True)
class CardLine:
    """One tightening.

    Attributes:
        job: what it belongs to, in words; empty where it is that of the line before.
        torque: as typed.
        fastener: place, count, size, grade, new or used, lubricant, sequence.
        target: in both units, with the angle; empty where it is blank.
        source: manual, page, date; a mark where a target has none; empty where both are blank.
        wrench: which, its range, its calibration.
        remarks: what the check says, the gravest first.
    """

    job: str
    torque: Torque
    fastener: str
    target: str
    source: str
    wrench: str
    remarks: tuple[str, ...]


def card_lines(case: Case, names: Mapping[str, str]) -> tuple[CardLine, ...]:
    """Return the tightenings of a case in the order they were written down.

    Args:
        case: the entries.
        names: cause id -> words.
    """
    return tuple(
        card_line(torque, names.get(data.cause or "", data.did) if number == 0 else "")
        for _, data in case.of(WorkData)
        for number, torque in enumerate(data.torques)
    )


def card_line(torque: Torque, job: str = "") -> CardLine:
    """Return one tightening as a line of the card."""
    count = f"{torque.count} \u00d7 " if torque.count else ""
    grade = f"grade {torque.grade}" if torque.grade else ""
    parts = (torque.size, grade, torque.fastener, torque.lubricant, torque.sequence)
    wrench = (
        torque.wrench,
        torque.wrench_span,
        f"calibrated {torque.calibrated}" if torque.calibrated else "",
    )
    return CardLine(
        job,
        torque,
        ", ".join([f"{count}{torque.location}", *(p for p in parts if p)]),
        ", then ".join(p for p in (_both_units(torque.value), torque.angle or "") if p),
        torque.source or (NOT_READ if torque.value else ""),
        ", ".join(p for p in wrench if p),
        tuple(remarks_on(torque)),
    )


def remarks_on(torque: Torque) -> Iterator[str]:
    """Yield what is to be said of one tightening; nothing is proposed."""
    if not torque.value:
        return
    target = _newton_metres(torque.value)
    if target is None:
        yield say.not_a_torque(torque.value)
        return
    unit = parse(torque.value).unit.symbol
    grade = re.sub(r"^(grade|class|gr\.?)\s*", "", (torque.grade or "").strip().lower())
    found = check(
        target,
        read_thread(torque.size or ""),
        grade,
        torque.lubricant or "",
        then_angle=torque.angle is not None,
    )
    yield from _of_the_check(found, torque)
    setting = target
    length, offset = _metres(torque.wrench_length), _metres(torque.crowfoot)
    if length and offset is not None:
        setting = crowfoot_setting(target, length, offset)
        yield say.set_to(_shown(setting, unit))
    yield from _of_the_wrench(setting, unit, torque)
    reading = _newton_metres(torque.reading or "")
    if reading is not None and abs(reading - setting) > _READ_TO * setting:
        off = abs(reading - setting) / setting * 100
        yield say.reading_off(str(torque.reading), f"{off:.0f}")
    if torque.done and not torque.second:
        yield say.second()


def _of_the_check(found: Tightening, torque: Torque) -> Iterator[str]:
    size, grade = torque.size or "", torque.grade or ""
    if found.verdict == "too_high":
        yield say.too_high() if found.low is not None else say.too_high_any_grade()
    elif found.verdict == "too_low":
        yield say.too_low()
    if found.above_at_low_k:
        yield say.low_k()
    if found.low is not None and found.high is not None:
        k_low, k_high = (f"{k:.2f}" for k in found.k)
        low, high = (f"{100 * share:.0f}" for share in (found.low, found.high))
        yield say.share(low, high, size, grade, k_low, k_high)
    names = {"size": "size and thread", "grade": "grade", "lubricant": "lubricant"}
    if found.missing and found.verdict in {"cannot_tell", "usual"}:
        yield say.cannot_tell([names[m] for m in found.missing])


def _of_the_wrench(setting: float, unit: str, torque: Torque) -> Iterator[str]:
    span = torque.wrench_span or ""
    ends = re.fullmatch(r"\s*([\d.,]+)\s*(?:to|-|\u2013)\s*([\d.,]+)\s*(.+)", span)
    if ends is None:
        return
    low, high = (_newton_metres(f"{ends[n]} {ends[3]}") for n in (1, 2))
    if low is None or high is None or not low < high:
        return
    if not low <= setting <= high:
        yield say.outside_wrench(_shown(setting, unit), span)
    elif setting < 0.2 * high:
        yield say.low_in_wrench(_shown(setting, unit), span)


def _both_units(words: str | None) -> str:
    """Return a torque as it was typed, and exactly converted beside it."""
    target = _newton_metres(words or "")
    if target is None:
        return words or ""
    other = _OTHER.get(parse(words or "").unit.symbol, "N·m")
    return f"{words} ({_shown(target, other)})"


def _shown(newton_metres: float, unit: str) -> str:
    value = newton_metres / UNITS[unit].factor
    return f"{value:,.1f} {unit}"


def _newton_metres(words: str) -> float | None:
    try:
        found = parse(words)
    except UnitRefused:
        return None
    return found.si if found.unit.kind == "torque" and found.si > 0 else None


def _metres(words: str | None) -> float | None:
    try:
        found = parse(words or "")
    except UnitRefused:
        return None
    return found.si if found.unit.kind == "length" and found.si > 0 else None
