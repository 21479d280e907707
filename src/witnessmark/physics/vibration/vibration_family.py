"""Which family a vibration belongs to: engine speed, road speed, a fixed frequency, or nothing.

The level of every line found is weighed: how likely such a level is on a healthy truck, and how
likely when that line is the complaint. Levels of healthy trucks are judgement until the shop's own
recordings replace them (see ``HEALTHY``); the study in ``studies/vibration`` states how often the
answer is right.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

from witnessmark.physics.vibration.orders.fixed_peaks import FixedPeak
from witnessmark.physics.vibration.orders.line_selection import Chosen, rivals
from witnessmark.physics.vibration.orders.order_lines import Line
from witnessmark.words.say import vibration as say

__all__ = ["HEALTHY", "FamilyVerdict", "decide", "healthy_level"]

Family = Literal["engine", "road", "fixed", "none", "not clear"]

#: Line -> (median rms level of healthy trucks on the seat rail, all axes [m/s2], spread as the
#: standard deviation of its logarithm). Judgement; the firing order (3 of a six) as 0.12 m/s2
#: peak from the physics notes (assumed there, from memory).
HEALTHY: Mapping[str, tuple[float, float]] = {
    "firing": (0.085, 0.55),
    "twice firing": (0.03, 0.60),
    "other": (0.018, 0.65),
}

#: The same for the level of a narrow mode at a fixed frequency, on healthy trucks and where it is
#: the complaint. Judgement: road and suspension modes are broad (damping 0.06 and more).
_MODE = {"healthy": (0.035, 0.5), "complaint": (0.15, 0.5)}
#: Log likelihood that chance alone lets a narrow mode add to broad ones, looked for at every
#: frequency (9 in 100 healthy recordings reach it in the study's truth, at levels under 0.04), and
#: the most that a mode's narrowness counts for.
_CHANCE, _NARROW = 7.0, 4.0
_UNSURE, _FIXED_UNSURE = 0.8, -1.0
#: Engine speed must have been swept by this part, or a line that was not listed stays in its
#: place as well as a resonance does.
_SWEPT = 0.12

#: A resonance that is the complaint may not stand out of less than this [s].
_LONG_ENOUGH = 16.0

#: A complaint's line: median level at least this [m/s2 rms], or three times the healthy one.
_COMPLAINT = (0.20, 0.60)
_ANSWER = 2.0  # log likelihood ratio from which a line counts as abnormal (odds 7 to 1)


@dataclass(frozen=True, slots=True)
class FamilyVerdict:
    """The answer.

    Attributes:
        family: engine, road, fixed, none or not clear.
        log_odds: family -> log likelihood against "nothing abnormal".
        line: name of the leading line, empty without one.
        rms: its level over all axes [m/s2].
        reason: why it is not clear, or what speaks for it.
        settle: the recording that would settle it, empty when clear.
        levels: line name -> rms level [m/s2].
        abnormal: names of the lines above what healthy trucks show.
    """

    family: Family
    log_odds: Mapping[str, float]
    line: str
    rms: float
    reason: str
    settle: str = ""
    levels: Mapping[str, float] = field(default_factory=dict)
    abnormal: tuple[str, ...] = ()


def healthy_level(name: str, firing: float = 3.0) -> tuple[float, float]:
    """Return (median, log spread) of a line on healthy trucks [m/s2 rms].

    Args:
        name: of the line.
        firing: firing order, half the number of cylinders of a four-stroke [-].
    """
    if name == f"engine order {firing:g}":
        return HEALTHY["firing"]
    return HEALTHY["twice firing" if name == f"engine order {2 * firing:g}" else "other"]


def decide(
    chosen: Chosen,
    lines: Sequence[Line],
    peaks: Sequence[FixedPeak],
    *,
    gears: int,
    firing: float = 3.0,
) -> FamilyVerdict:
    """Weigh the lines found.

    Args:
        chosen: lines found in the recording.
        lines: all candidate lines, in the order of their numbers.
        peaks: peaks at a fixed frequency in what was left over; none at all where the recording
            was too short to look for them.
        gears: number of different gears driven.
        firing: firing order [-]; healthy engines shake at it and at twice it.
    """
    families = [line.family for line in lines]
    levels = {lines[c].name: float(r) for c, r in zip(chosen.lines, chosen.rms(), strict=True)}
    odds = {
        lines[c].name: _ratio(float(r), *healthy_level(lines[c].name, firing))
        for c, r in zip(chosen.lines, chosen.sure_rms(), strict=True)
    }
    peak = max(peaks, key=_fixed, default=None)
    fixed = -4.0 if peak is None else _fixed(peak)
    by_family = {"engine": 0.0, "road": 0.0, "fixed": fixed}
    for c in chosen.lines:
        by_family[families[c]] = max(by_family[families[c]], odds[lines[c].name])
    close = rivals(chosen, families)
    abnormal = [c for c in chosen.lines if odds[lines[c].name] >= _ANSWER]
    names = tuple(lines[c].name for c in abnormal)
    if not abnormal and fixed < _ANSWER:
        unsure = [n for n, v in odds.items() if v > _UNSURE]
        if unsure or fixed > _FIXED_UNSURE:
            worst = max(unsure, key=lambda n: odds[n]) if unsure else "fixed peak"
            return FamilyVerdict(
                "not clear", by_family, worst if unsure else "",
                levels.get(worst, peak.rms if peak else 0.0),
                say.little_high(worst),
                say.same_drive(),
                levels,
            )  # fmt: skip
        if not peaks or peaks[0].seconds < _LONG_ENOUGH:
            return FamilyVerdict(
                "not clear", by_family, "", 0.0,
                say.too_short(),
                say.record_longer(), levels,
            )  # fmt: skip
        return FamilyVerdict("none", by_family, "", 0.0, say.nothing_stands_out(), "", levels)
    stands = peak is not None and fixed >= _ANSWER
    if peak is not None and stands and peak.swept < _SWEPT:
        return FamilyVerdict(
            "not clear", by_family, f"{peak.frequency:.1f} Hz", peak.rms,
            say.speed_hardly_changed(peak.frequency), say.pull_two_gears(), levels, names,
        )  # fmt: skip
    if (
        peak is not None
        and stands
        and all(peak.rms > 1.5 * levels[lines[c].name] for c in abnormal)
    ):
        return FamilyVerdict(
            "fixed", by_family, f"{peak.frequency:.1f} Hz", peak.rms,
            say.peak_stays(peak.frequency), "", levels, names,
        )  # fmt: skip
    lead = max(abnormal, key=lambda c: levels[lines[c].name], default=None)
    if lead is None:
        return FamilyVerdict(
            "not clear", by_family, "", peak.rms if peak else 0.0,
            say.equally_strong(),
            say.second_gear(), levels, names,
        )  # fmt: skip
    name, rms = lines[lead].name, levels[lines[lead].name]
    if close[lead]:
        row = chosen.lines.index(lead)
        other = lines[min(close[lead], key=lambda c: float(chosen.gain[row, c]))].name
        settle = say.same_pull(gears < 2)
        return FamilyVerdict(
            "not clear", by_family, name, rms,
            say.fall_together(name, other), settle, levels, names,
        )  # fmt: skip
    second = [
        c for c in abnormal if families[c] != families[lead] and levels[lines[c].name] > 0.6 * rms
    ]
    if second:
        return FamilyVerdict(
            "not clear", by_family, name, rms,
            say.both_high(name, lines[second[0]].name),
            say.cure_stronger(), levels, names,
        )  # fmt: skip
    if peak is not None and stands and peak.rms > 0.6 * rms:
        return FamilyVerdict(
            "not clear", by_family, name, rms,
            say.line_and_peak(name, peak.frequency), say.cure_stronger(), levels, names,
        )  # fmt: skip
    family: Family = "engine" if families[lead] == "engine" else "road"
    return FamilyVerdict(family, by_family, name, rms, say.leads(name, rms), "", levels, names)


def _ratio(rms: float, median: float, spread: float) -> float:
    """Log likelihood ratio of a level, complaint against healthy, kept within -4 and 8."""
    if rms <= 0:
        return -4.0
    top, wide = _COMPLAINT
    top = max(top, 3.0 * median)
    ill = -0.5 * (math.log(rms / top) / wide) ** 2 - math.log(wide)
    # Above its own median a complaint only gets clearer.
    if rms > top:
        ill = -math.log(wide)
    well = -0.5 * (math.log(rms / median) / spread) ** 2 - math.log(spread)
    if rms < median:
        well = -math.log(spread)
    return max(-4.0, min(8.0, ill - well))


def _fixed(peak: FixedPeak) -> float:
    """The same for a fixed peak, from how narrow it is and from its level."""
    total = min(peak.gain - _CHANCE, _NARROW)
    for kind, sign in (("complaint", 1.0), ("healthy", -1.0)):
        median, spread = _MODE[kind]
        z = math.log(max(peak.rms, 1e-6) / median) / spread
        beyond = z > 0 if kind == "complaint" else z < 0
        total += sign * (0.0 if beyond else -0.5 * z * z)
    return max(-4.0, min(8.0, total))
