"""A reading of an inspection against the law's limits, with the error of what it was read with.

A reading passes or fails only where the instrument's whole error lies on one side of the limit (a
guard band of the accuracy limit, JCGM 106:2012, 8.3); in between it is too close to say.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from witnessmark.knowledge.inspecting.figures import figure
from witnessmark.knowledge.inspecting.inspection_parts import LimitPart, RaisePart, ReadingPart
from witnessmark.model.inspection import LimitSeen
from witnessmark.words.say import inspection as say

__all__ = [
    "Bound",
    "bound_of",
    "chance_it_fails",
    "finer_than",
    "fits",
    "judged",
    "limits_for",
    "raised",
    "verdict_of",
]

_INCH = 0.0254
#: Differences below this are what decimal figures make of fractions [SI unit].
_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit as a figure: more than *value* fails (most), less fails (least), not more (above).

    Attributes:
        kind: most, least or above.
        value: in the coherent SI unit.
        text: as it is read.
    """

    kind: Literal["most", "least", "above"]
    value: float
    text: str


def fits(given: Mapping[str, Sequence[str]], told: Mapping[str, str]) -> bool:
    """Say whether what was told beside a reading is what a limit is for."""
    return all(told.get(key) in values for key, values in given.items())


def limits_for(reading: ReadingPart, told: Mapping[str, str]) -> tuple[LimitPart, ...]:
    """Return the limits that are for what was told; those of a value not told are left out."""
    return tuple(
        limit
        for limit in reading.limits
        if fits(limit.given, told) and (limit.of is None or told.get(limit.of))
    )


def bound_of(limit: LimitPart, told: Mapping[str, str], kind: str) -> Bound:
    """Return a limit as a figure.

    Args:
        limit: the limit; ``share`` is taken of a value that was told, ``degrees`` of a wheel as
            wide as was told: arc = pi d degrees / 360.
        told: what was told beside the reading.
        kind: kind of unit of the reading: an angle is held against the degrees themselves.
    """
    for way in ("most", "least", "above"):
        text = getattr(limit, way)
        if text is not None:
            return Bound(way, figure(text).value, text)
    of = figure(told[limit.of or ""])
    if limit.share is not None:
        value = limit.share * of.value
        return Bound("most", value, _text(value, of.kind))
    degrees = limit.degrees or 0.0
    if kind == "angle":
        return Bound("most", math.radians(degrees), f"{degrees:g} deg")
    value = math.pi * of.value * degrees / 360.0
    return Bound("most", value, f"{value / _INCH:.2f} in ({degrees:g} deg)")


def verdict_of(value: float, error: float, bound: Bound) -> Literal["passes", "fails", "too_close"]:
    """Return what a reading comes to against a limit.

    Args:
        value: the reading [SI unit of its kind].
        error: how far off the instrument may be, either way [the same], >= 0.
        bound: the limit; a reading equal to ``most`` or ``least`` passes, equal to ``above`` fails.
    """
    low, high = value - error, value + error
    if bound.kind == "most":
        inside, outside = high <= bound.value + _ROUNDING, low > bound.value + _ROUNDING
    elif bound.kind == "least":
        inside, outside = low >= bound.value - _ROUNDING, high < bound.value - _ROUNDING
    else:
        inside, outside = low > bound.value + _ROUNDING, high <= bound.value + _ROUNDING
    return "passes" if inside else "fails" if outside else "too_close"


def chance_it_fails(value: float, error: float, bound: Bound) -> float:
    """Return the chance that the true value is on the failing side of a limit, by the gauge [-].

    The instrument's error is taken as two standard deviations of a normal law (judgement).

    Args:
        value: the reading [SI unit of its kind].
        error: how far off the instrument may be, either way [the same]; 0: the answer is 0 or 1.
        bound: the limit.
    """
    if error <= 0.0:
        return float(verdict_of(value, 0.0, bound) == "fails")
    beyond = value - bound.value if bound.kind == "most" else bound.value - value
    return 0.5 * math.erfc(-beyond / (0.5 * error * math.sqrt(2.0)))


def judged(
    reading: ReadingPart,
    value: str,
    error: str,
    told: Mapping[str, str],
    evidence: Mapping[str, str],
) -> tuple[LimitSeen, ...]:
    """Return a reading against every limit that is for it.

    Args:
        reading: what is read at the point.
        value: the reading as typed.
        error: how far off the instrument may be, as typed; empty: not at all.
        told: what was told beside it, with its position.
        evidence: kind of evidence -> words.
    """
    read = figure(value)
    off = figure(error).value if error else 0.0
    if error and figure(error).kind != read.kind:
        off = 0.0 if read.kind == "number" else _angle(figure(error).value, told, read.kind)
    seen = []
    for limit in limits_for(reading, told):
        bound = bound_of(limit, told, read.kind)
        verdict: str = verdict_of(read.value, off, bound)
        if limit.rule == "flag" and verdict == "fails":
            verdict = "said"
        elif limit.rule == "flag":
            verdict = "passes"
        seen.append(
            LimitSeen(
                say.limit(bound.kind, bound.text, limit.rule),
                limit.section,
                evidence.get(limit.evidence, limit.evidence),
                limit.rule,
                verdict,
                say.verdict(
                    verdict,
                    read.text,
                    bound.text,
                    bound.kind,
                    chance_it_fails(read.value, off, bound),
                ),
            )
        )
    return tuple(seen)


def finer_than(reading: ReadingPart, error: str) -> str:
    """Return in words the next finer instrument of a point's list; empty where there is none."""
    off = figure(error).value if error else math.inf
    finer = [(figure(i.error).value, i.words) for i in reading.instruments]
    better = sorted((e, w) for e, w in finer if e < off * (1 - 1e-6))
    return better[-1][1] if better else ""


def raised(
    parts: Sequence[RaisePart], told: Mapping[str, str], value: str = ""
) -> RaisePart | None:
    """Return the first look or test of a list that is for what was told and read."""
    for part in parts:
        if not fits(part.given, told):
            continue
        if part.most is not None and (
            not value or figure(value).value > figure(part.most).value + _ROUNDING
        ):
            continue
        return part
    return None


def _angle(error: float, told: Mapping[str, str], kind: str) -> float:
    """Return an error along the rim as an angle of the wheel; without a size as of one of 16 in."""
    across = figure(told["across"]).value if told.get("across") else 16 * _INCH
    return error / (across / 2) if kind == "angle" else error * (across / 2)


def _text(value: float, kind: str) -> str:
    if kind == "length":
        return f"{value / _INCH:.3g} in"
    return f"{value:.3g} s" if kind == "number" else f"{value:.4g}"
