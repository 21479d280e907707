"""The road-test card: which points the complaints need, which are covered, what to drive next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from witnessmark.analyses.an_analysis import Bench, not_run
from witnessmark.analyses.road.road_points import Mask, places_of, there
from witnessmark.analyses.steady import ONE_GEAR, Trace, gear_at, ratio_of, trace_of
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.readings_to_take import DrivePlace
from witnessmark.model.details.reading_details import CardPoint, RoadCard
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Recording
from witnessmark.model.step import Step, forbidden_by

if TYPE_CHECKING:  # see steady.py
    from witnessmark.model.entries.entry_data import TruckData

__all__ = ["NEEDS", "CardLine", "analyse", "road_test_card", "under_stops"]

NEEDS = ("a recording with engine speed and time stamps",)
_METHOD = "road_test_card/1"
#: Code of the finding.
CODE = "road_test_coverage"


@dataclass(frozen=True, slots=True)
class CardLine:
    """One line of the card.

    Attributes:
        point: id of the point.
        words: what is needed, in words.
        families: families that need it.
        seconds: how long it has to be held.
        best_s: the longest time it was held without a break.
        covered: it was held long enough (in as many gears as needed).
        missing: what to drive, in words; empty when covered.
        caution: what to take care of.
        recording: name of the recording that covers it best, or empty.
        start_s: where in it.
        end_s: where in it.
        forbidden: the safety stop that forbids it while it stands; empty otherwise.
    """

    point: str
    words: str
    families: tuple[str, ...]
    seconds: float
    best_s: float
    covered: bool
    missing: str
    caution: str = ""
    recording: str = ""
    start_s: float | None = None
    end_s: float | None = None
    forbidden: str = ""

    @property
    def due(self) -> bool:
        """Whether it is to be driven now: not covered, and no stop forbids it."""
        return not self.covered and not self.forbidden


@dataclass(frozen=True, slots=True)
class _Held:
    seconds: float
    recording: str
    start_s: float
    end_s: float
    gear: str | None


def road_test_card(
    families: Iterable[str],
    recordings: Iterable[Recording],
    truck: TruckData | None = None,
    stops: Sequence[Step] = (),
    *,
    knowledge: Knowledge,
) -> tuple[CardLine, ...]:
    """Return the card for these families: the most telling points first.

    Args:
        families: family ids of the case's complaints.
        recordings: what was recorded in the present state of the truck.
        truck: for the gears.
        stops: the safety stops that stand; the card obeys them.
        knowledge: the packs, which say what each family needs driven.
    """
    every = [f for i in dict.fromkeys(families) if (f := knowledge.families.get(i)) is not None]
    given = list(recordings)
    traces = [(r, t) for r in given if (t := trace_of(r)) is not None]
    present = {c.name for r, _ in traces for c in r.channels if c.valid().any()}
    lines = (
        _line(place, needed_by, traces, present, truck)
        for place, needed_by in places_of(every, knowledge).items()
    )
    return tuple(
        line if line.covered else replace(line, forbidden=_forbidden(line.point, stops, knowledge))
        for line in lines
    )


def under_stops(finding: Finding, stops: Sequence[Step], knowledge: Knowledge) -> Finding:
    """Return the finding of :func:`analyse` without a word of what a stop forbids to drive."""
    told = finding.details
    if not isinstance(told, RoadCard):
        return finding
    lines = [
        replace(x, forbidden="" if x.covered else _forbidden(x.point, stops, knowledge))
        for x in told.card
    ]
    barred = [x for x in lines if x.forbidden]
    if not barred:
        return finding
    due = [x for x in lines if not x.covered and not x.forbidden]
    covered = sum(1 for x in lines if x.covered)
    sentence = f"{covered} of {len(lines)} points of the road test are covered."
    sentence += f" A safety stop forbids {len(barred)} of them: {barred[0].forbidden}."
    sentence += f" Next: {due[0].missing}." if due else ""
    return replace(
        finding,
        sentence=sentence,
        reason="; ".join(x.missing for x in due),
        details=replace(told, card=tuple(lines)),
    )


def _forbidden(point: str, stops: Sequence[Step], knowledge: Knowledge) -> str:
    needs = knowledge.drive_points[point].state.demands()
    stop = forbidden_by(stops, point, needs)
    return stop.name if stop is not None else ""


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Say whether the recordings of the present stage cover what the complaints need."""
    families = bench.case.families()
    known = (bench.knowledge.families.get(f) for f in families)
    if not any(f is not None and f.drive_points for f in known):
        return ()
    stage = bench.last_stage()
    now: Mapping[str, Recording] = {
        entry: r for entry, r in bench.recordings.items() if bench.stage(entry) == stage
    }
    if not any(trace_of(r) is not None for r in now.values()):
        if not now:
            return ()
        return (
            not_run(
                CODE,
                "What the road test covers was not judged.",
                "no recording with engine speed and time stamps",
                _METHOD,
                stage=stage,
            ),
        )
    card = road_test_card(families, now.values(), bench.case.truck(), knowledge=bench.knowledge)
    missing = [line for line in card if not line.covered]
    if missing:
        sentence = f"{len(card) - len(missing)} of {len(card)} points of the road test are covered."
        sentence += f" Next: {missing[0].missing}."
    else:
        sentence = f"All {len(card)} points the complaints need are covered."
    return (
        Finding(
            code=CODE,
            sentence=sentence,
            outcome="inconclusive" if missing else "seen",
            reason="; ".join(line.missing for line in missing),
            method=_METHOD,
            evidence=Evidence(entries=tuple(now)),
            source="common practice, no source",
            stage=stage,
            details=RoadCard(
                card=tuple(
                    CardPoint(point=x.point, words=x.words, covered=x.covered, missing=x.missing)
                    for x in card
                )
            ),
        ),
    )


def _line(
    point: DrivePlace,
    families: tuple[str, ...],
    traces: list[tuple[Recording, Trace]],
    present: set[str],
    truck: TruckData | None,
) -> CardLine:
    absent = [name for name in point.needs if name not in present]
    held = [h for r, t in traces for h in _held(point, r, t, truck)]
    best = max(held, key=lambda h: h.seconds, default=None)
    gears = {h.gear for h in held if h.seconds >= point.seconds and h.gear is not None}
    enough = best is not None and best.seconds >= point.seconds
    covered = enough and not absent and (point.gears < 2 or len(gears) >= point.gears)
    words = f"{point.words} for {point.seconds:.0f} s"
    if covered and point.warm and "coolant_temperature" not in present:
        words += "; whether the engine was warm is not recorded"
    return CardLine(
        point=point.id,
        words=words,
        families=families,
        seconds=point.seconds,
        best_s=round(best.seconds, 1) if best else 0.0,
        covered=covered,
        missing="" if covered else _missing(point, best, gears, absent, bool(traces), truck),
        caution=point.caution,
        recording=best.recording if best and enough else "",
        start_s=best.start_s if best and enough else None,
        end_s=best.end_s if best and enough else None,
    )


def _held(
    point: DrivePlace, recording: Recording, trace: Trace, truck: TruckData | None
) -> list[_Held]:
    """Return every stretch in which the truck was there; breaks under half a second are none."""
    with np.errstate(invalid="ignore"):
        inside = there(point, trace)
    found = []
    ratio = ratio_of(trace)
    with np.errstate(invalid="ignore"):
        # The trace is taken apart where the gear changes; over one second a gear does not drift.
        shifted = np.abs(ratio - np.r_[ratio[:1], ratio[:-1]]) > ONE_GEAR
    for start, end in _runs(inside, shifted if point.pull else np.zeros(inside.size, np.bool_)):
        time = trace.time_s[start:end]
        if not all(_passes(trace, start, end, name, least) for name, least in point.passes):
            continue
        gear = None
        if point.pull:
            rpm, speed = trace.rpm[start:end], trace.road_speed[start:end]
            if not np.isnan(speed).all():
                gear = gear_at(truck, float(np.nanmedian(rpm)), float(np.nanmedian(speed)))
            if gear is None and not np.isnan(speed).all():
                # Without ratios two gears are told apart by how far the truck goes in a turn.
                gear = f"{round(float(np.nanmedian(ratio[start:end])) / ONE_GEAR)} (by ratio)"
        seconds = float(time[-1] - time[0])
        found.append(_Held(seconds, recording.name, float(time[0]), float(time[-1]), gear))
    return found


def _passes(trace: Trace, start: int, end: int, name: str, least: float) -> bool:
    """Say whether the speed passes so much within the stretch: holding one speed is no sweep."""
    values = trace.rpm[start:end] if name == "engine_speed" else trace.road_speed[start:end]
    known = values[~np.isnan(values)]
    return known.size > 0 and float(np.ptp(known)) >= least


def _runs(inside: Mask, shifted: Mask) -> list[tuple[int, int]]:
    index = np.flatnonzero(inside)
    if not index.size:
        return []
    cuts = np.flatnonzero((np.diff(index) > 2) | shifted[index[1:]])
    starts = np.r_[index[0], index[cuts + 1]]
    ends = np.r_[index[cuts], index[-1]] + 1
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _missing(
    point: DrivePlace,
    best: _Held | None,
    gears: set[str],
    absent: list[str],
    recorded: bool,
    truck: TruckData | None,
) -> str:
    gear = ""
    if point.pull and truck is not None and truck.gears:
        direct = min(truck.gears, key=lambda g: abs((truck.gears or {})[g] - 1.0))
        others = [g for g in truck.gears if g not in gears]
        if point.gears > 1:
            gear = f" in gear {others[0] if gears and others else direct} and another gear"
            if gears & set(truck.gears):
                gear = f" in a gear other than {', '.join(sorted(gears))}"
        else:
            gear = f" in gear {direct}"
    elif point.gears > 1:
        gear = " in two gears" if not gears else " in a second gear"
    elif point.pull:
        gear = " in one gear"
    words = f"{point.words}{gear} for {point.seconds:.0f} s is missing"
    if absent and recorded:
        return f"{words} (not recorded: {', '.join(n.replace('_', ' ') for n in absent)})"
    if best is not None and best.seconds < point.seconds and best.seconds >= 1.0:
        return f"{words} (the longest was {best.seconds:.0f} s)"
    return words
