"""Which cylinder gives less than the others, running or cranked; how small a lack would show."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from witnessmark.analyses.an_analysis import Bench, not_run
from witnessmark.analyses.readings.stand_ins import stand_in, tests_of
from witnessmark.analyses.vibration.tooth_recordings import Timing
from witnessmark.model.details.shake_details import CylinderShares
from witnessmark.model.finding import Evidence, Finding, OperatingPoint, Outcome, Support
from witnessmark.physics.vibration.twist.cylinder_balance import (
    CRANKING_BELOW,
    Balance,
    balance,
    low_orders,
)
from witnessmark.physics.vibration.twist.tooth_timing import Torsion
from witnessmark.words.numbers import percentage

__all__ = ["METHOD", "cylinder_findings", "said", "shown_words", "smallest_shown"]

METHOD = "cylinder_balance/3"
#: A cylinder is named from this reading on; how many are, by their true lack, is in the table of
#: ``studies/vibration/cylinders.md``.
_WEAK, _APART = 0.17, 0.05
#: The weakest of six sound cylinders lies two standard deviations low in one engine of eight; this
#: far in one of twenty.
_SURE = 2.4
#: "About the same" is said only where a lack of this much would have shown.
_POWER = 0.30
#: Speed at which cylinders are compared in a sweep, and the highest at the nose [r/min].
_COMPARED_AT, _NOSE_UP_TO = 1200.0, 1500.0


def smallest_shown(found: Balance) -> float:
    """Return the lack that would nearly always have been named [-]."""
    error = float(found.error.max())
    return max(_WEAK, _SURE * error) + 0.8 * error


def said(found: Balance) -> Literal["weak", "even", "open"]:
    """Say whether one cylinder is weak, none is where one would have shown, or it stays open.

    Args:
        found: the balance of one recording.
    """
    worst, error = found.shortfall, float(found.error[found.weakest - 1])
    if worst >= _WEAK and found.margin >= _APART and worst > _SURE * error:
        return "weak"
    level = worst < 0.15 and float(found.deviation.max()) < 0.17
    return "even" if level and smallest_shown(found) <= _POWER else "open"


def cylinder_findings(bench: Bench, timings: Sequence[tuple[Timing, Torsion]]) -> list[Finding]:
    """Return the cylinders' balance of every recording, at the steadiest speed of it."""
    made = [(timing, _compared(bench, timing, orders)) for timing, orders in timings]
    cranked = {
        timing.stage: found
        for timing, (found, rpm, _) in ((t, m) for t, m in made if m is not None)
        if found is not None and rpm < CRANKING_BELOW
    }
    out: list[Finding] = []
    for timing, result in made:
        if result is None:
            continue
        found, rpm, missing = result
        if found is None:
            sentence = "The cylinders cannot be compared from this recording."
            out.append(not_run("cylinder_balance", sentence, missing, METHOD, stage=timing.stage))
        else:
            firing = _firing(bench)
            out.append(_finding(bench, timing, found, rpm, firing, cranked.get(timing.stage)))
    return out


def _firing(bench: Bench) -> tuple[int, ...]:
    truck = bench.case.truck()
    order = truck.engine.firing_order if truck is not None else None
    return tuple(order or ())


def _compared(
    bench: Bench, timing: Timing, orders: Torsion
) -> tuple[Balance | None, float, str] | None:
    firing = _firing(bench)
    if not firing or orders.orders[-1] < 3.0:
        return None
    rpm = _speed_to_compare(orders)
    missing = ""
    if len(firing) != 6:
        missing = "the comparison is worked out for even-firing six-cylinder engines only"
    elif timing.marks is None or not timing.marks.indexed:
        missing = (
            "the wheel has no gap and the recording no mark that counts its turns: put a second "
            "pickup at the camshaft, or at a mark that passes once a turn"
        )
    amplitude, error = low_orders(orders, rpm)
    if not missing and abs(amplitude[-1]) < 10 * error[-1]:
        missing = "the firing order does not stand out of the noise"
    if missing:
        return None, rpm, missing
    load = timing.load if timing.load is not None else (0.0 if rpm < 900 else 0.5)
    cranking = rpm < CRANKING_BELOW
    part: Literal["combustion", "compression"] = "compression" if cranking else "combustion"
    found = balance(
        amplitude[:-1], complex(amplitude[-1]), rpm, error[:-1], firing,
        load=0.0 if cranking else load, dead_centre=timing.dead_centre,
        place="nose" if timing.place == "nose" else "flywheel", part=part,
    )  # fmt: skip
    return found, rpm, ""


def _speed_to_compare(orders: Torsion) -> float:
    """The speed held longest; of a sweep the one nearest to 1200 r/min, where the study looked."""
    place = np.rint(orders.rpm / 50.0)
    speeds, counts = np.unique(place, return_counts=True)
    at = int(np.argmax(counts))
    if len(speeds) > 4 and counts[at] < 3 * np.median(counts):
        at = int(np.argmin(np.abs(speeds * 50.0 - _COMPARED_AT)))
    return float(orders.rpm[place == speeds[at]].mean())


def _unfit(timing: Timing, rpm: float) -> str:
    """Say why cylinders are not compared: the study shows it right only in these places."""
    if timing.place == "nose" and timing.dead_centre is None:
        return (
            "at the nose the crank's own twist must be taken off, which needs the camshaft's mark "
            "in the same recording; or put the pickup at the flywheel teeth"
        )
    if timing.place == "nose" and rpm > _NOSE_UP_TO:
        return "at the nose it is good to about 1500 rpm; pull at 1200 rpm"
    if timing.place == "nose" and (timing.load is None or timing.load < 0.5):
        return (
            "at the nose the engine must pull (write the load down), or put the pickup at the "
            "flywheel teeth"
        )
    if rpm > 900 and (timing.load is None or timing.load < 0.5):
        return (
            "above idle the engine must pull (write the load down); without load the pistons' own "
            "forces drown the difference"
        )
    return ""


def _finding(
    bench: Bench, timing: Timing, found: Balance, rpm: float, firing: Sequence[int],
    cranked: Balance | None,
) -> Finding:  # fmt: skip
    worst, error = found.shortfall, float(found.error[found.weakest - 1])
    visible = smallest_shown(found)
    weak, even = (said(found) == word for word in ("weak", "even"))
    cranking = rpm < CRANKING_BELOW
    what = "compression" if cranking else "work"
    named = found.named and not timing.partner
    support: tuple[Support, ...] = ()
    stands: list[str] = []
    outcome: Outcome = "inconclusive"
    reason = ""
    amount = (
        f"at least {percentage(max(worst - 2 * error, 0.01))} less {what} than the others, most "
        f"likely {percentage(min(worst, 1.0))}"
    )
    unfit = _unfit(timing, rpm)
    if unfit:
        sentence = "The cylinders cannot be compared from this recording."
        reason = unfit
    elif weak and named:
        outcome = "seen"
        sentence = f"Cylinder {found.weakest} gives {amount}.{_part_words(found, cranked, rpm)}"
        if not cranking:
            answers = tests_of(bench.knowledge, {"one_cylinder_weak": True})
            support, stands = stand_in(bench.knowledge, answers, right=0.93), list(answers)
    elif weak and timing.partner and found.named:
        sentence = f"Cylinder {' or '.join(map(str, _pair(found, firing)))} gives {amount}."
        reason = (
            "a mark that passes once a turn cannot tell a cylinder from its partner one turn "
            "away: record the camshaft's mark, or cut out one of the two"
        )
    elif weak:
        sentence = f"One cylinder gives {amount}."
        reason = (
            "which one cannot be told without a phase reference: record cylinder 1's dead centre, "
            "or cut out cylinder 1 once"
        )
    elif even:
        outcome = "not_seen"
        sentence = (
            f"All cylinders give about the same {what}: one that lies {percentage(visible)} below "
            "the others would have shown."
        )
        if not cranking:
            answers = tests_of(bench.knowledge, {"one_cylinder_weak": False})
            support, stands = stand_in(bench.knowledge, answers, right=0.93), list(answers)
    else:
        sentence = f"No cylinder stands out, but {shown_words(visible)}."
        reason = (
            "at idle combustion is small beside compression: repeat at 1200 rpm under full load"
            if rpm < 900
            else f"the weakest reads {percentage(worst)} below the others; a cylinder is named "
            f"from {percentage(max(_WEAK, _SURE * error))} on"
        )
    return Finding(
        code="cylinder_balance",
        sentence=sentence + _told_words(timing),
        outcome=outcome,
        reason=reason,
        method=METHOD,
        quantity="cylinder_contribution",
        value=-100 * worst,
        unit="%",
        low=100 * (-worst - 2 * error),
        high=100 * (-worst + 2 * error),
        coverage=0.95,
        point=OperatingPoint(rpm=rpm, load=timing.load, warm=timing.warm),
        evidence=Evidence((timing.entry,), timing.sha256, timing.channel or None),
        source="low orders of the crank's speed, generic combustion (docs/damper.md)",
        stage=timing.stage,
        support=support,
        details=CylinderShares(
            deviation_percent=(100 * found.deviation).round(1).tolist(),
            error_percent=(100 * found.error).round(1).tolist(),
            named=named,
            part=what,
            would_have_shown_percent=100 * visible,
            explained=found.explained,
            stands_for=tuple(stands),
        ),
    )


def _pair(found: Balance, firing: Sequence[int]) -> list[int]:
    place = list(firing).index(found.weakest)
    return sorted({found.weakest, firing[(place + len(firing) // 2) % len(firing)]})


def shown_words(visible: float) -> str:
    """Say what would have shown; nothing lies further below the others than one that is dead.

    Args:
        visible: the lack that would nearly always have been named [-].
    """
    if visible >= 1.0:
        return "even one that does nothing would not surely have shown"
    return f"only one that lies {percentage(visible)} or more below the others would have shown"


def _part_words(found: Balance, cranked: Balance | None, rpm: float) -> str:
    """Part combustion from compression where the same visit holds a cranking recording."""
    if rpm < CRANKING_BELOW:
        return " A compression or leak-down test of that cylinder comes before its injector."
    if cranked is None or not cranked.named:
        return ""
    own = -float(cranked.deviation[found.weakest - 1])
    error = float(cranked.error[found.weakest - 1])
    if own > max(0.10, 2 * error):
        return (
            f" Cranked, it lacks about {percentage(own)} of its compression as well: valves, rings "
            "or gasket before its injector."
        )
    if own < 0.07:
        return " Cranked, its compression is as the others': its combustion, so fuel first."
    return ""


def _told_words(timing: Timing) -> str:
    if timing.told is None or timing.marks is None:
        return ""
    return f" ({timing.told} marks were written down; the teeth show {timing.marks.places}.)"
