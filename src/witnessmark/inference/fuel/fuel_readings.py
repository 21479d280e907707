"""From the entries of a case to readings the fuel model can use, and what is wrong with them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.an_analysis import Reading
from witnessmark.analyses.bus_readings import STRETCH
from witnessmark.analyses.readings.instruments import uncertainty_of
from witnessmark.inference.fuel.draws.fuel_samples import Repair
from witnessmark.inference.fuel.draws.fuel_table import PriorTable
from witnessmark.inference.fuel.fuel_groups import GROUPS, OTHER, SIGHT, group_of
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    COLD,
    DELIVERY,
    FLOW,
    GALLERY,
    INHG,
    PREFILTER,
    QUANTITIES_READ,
    THROTTLED,
    VACUUM,
    Key,
    Observation,
    cold_extra,
    predicted,
)
from witnessmark.knowledge import Family
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData, TestData, WorkData
from witnessmark.model.problem import Problem
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI
from witnessmark.words.say import fuel as say

__all__ = ["Collected", "bubbles", "collect", "contradictions", "impossible", "repairs"]

Floats = npt.NDArray[np.float64]

_PRESSURES = (GALLERY, PREFILTER, THROTTLED, DELIVERY)
_BUS = "bus sensor"
#: More no pump draws and still runs: its fuel boils (judgement).
_MOST_VACUUM = 27.5 * INHG
#: Steady points whose load is known -> that load; and the error of the rounded speed.
_BUS_POINTS = {"idle": 0.0, "no load": 0.0, "pull": 1.0}
_BUS_EXTRA = 0.7 * PSI
#: So little in an hour nobody times in a can; it was mostly read in a minute (judgement).
_DRIBBLE = 12.0 * L_PER_H
#: A gauge that shows less shows that nothing was running, or hooked up (judgement).
_LEAST_PRESSURE = 3.0 * PSI
#: Two instruments at one point contradict each other beyond so many standard deviations.
_APART = 3.0


@dataclass(frozen=True, slots=True)
class Collected:
    """Readings of the fuel supply as the model uses them.

    Attributes:
        observations: the usable ones, in the order of the case.
        problems: what could not be used, or only with a remark.
    """

    observations: tuple[Observation, ...]
    problems: tuple[Problem, ...]


def collect(case: Case, bus: Sequence[Reading] = ()) -> Collected:
    """Read the live fuel readings of a case.

    Args:
        case: the entries.
        bus: readings off the bus at the steady points of its recordings. They count in a state
            of the truck in which no gauge read the gallery: where one did, the gauge is believed
            and the sensor is held against it elsewhere.
    """
    stages = case.stages()
    found: list[Observation] = []
    problems: list[Problem] = []
    for entry, data in case.of(ReadingData):
        if data.quantity not in QUANTITIES_READ:
            continue
        made = _observation(entry.id, data, stages[entry.id], problems)
        if made is not None:
            found.append(made)
    read = {o.stage for o in found if o.quantity in {GALLERY, DELIVERY}}
    found += [o for o in _off_the_bus(bus) if o.stage not in read]
    return Collected(_main_gauge(found), tuple(problems))


def _off_the_bus(bus: Sequence[Reading]) -> list[Observation]:
    """Return the sensor's pressure at steady points: idle, no load, and full-load pulls.

    What the bus calls load at idle turns the engine itself over; it is no load on the road. Of
    a part load nobody knows what the injectors take, so it is left out. Engine speeds are
    rounded to 50 r/min, for the table is solved anew for every speed; what that costs is added
    to the error.
    """
    found: dict[tuple[int, Key], Observation] = {}
    for reading in bus:
        name = (reading.data.source or "").removeprefix(f"{STRETCH}: ")
        rpm = reading.point.rpm
        if reading.data.quantity != DELIVERY or name not in _BUS_POINTS or rpm is None:
            continue
        if not 450.0 <= rpm <= 2300.0:
            continue
        rounded = 50.0 * round(rpm / 50.0)
        cold = reading.point.warm is False
        key = Key(rounded, _BUS_POINTS[name], False, COLD if cold else 1.0)
        extra = _BUS_EXTRA + (float(cold_extra(DELIVERY)) if cold else 0.0)
        found[reading.stage, key] = Observation(
            quantity=DELIVERY, key=key, value=reading.value, gauge=_BUS,
            gauge_sd=float(np.clip(uncertainty_of(reading.data).accuracy, 0.4 * PSI, 6.0 * PSI)),
            extra_sd=extra, stage=reading.stage, entry=reading.entry.id,
        )  # fmt: skip
    return list(found.values())


def repairs(case: Case, family: Family | None = None) -> tuple[Repair, ...]:
    """Return the work that renewed a part of the circuit."""
    stages = case.stages()
    found = []
    for entry, data in case.of(WorkData):
        group = group_of(data.cause or "")
        if group is None or group == OTHER:
            continue
        found.append(Repair(group, cause_share(data.cause or "", family), stages[entry.id] + 1))
    return tuple(found)


def cause_share(cause: str, family: Family | None) -> float:
    """Return P(it is this cause | its group is at fault), from the pack's priors."""
    group = group_of(cause)
    if group is None or len(GROUPS[group].causes) == 1 or family is None:
        return 1.0 if group is None or len(GROUPS[group].causes) == 1 else 0.6
    prior = {c.id: c.prior for c in family.causes}
    total = sum(prior.get(c, 0.0) for c in GROUPS[group].causes)
    return prior.get(cause, 0.0) / total if total > 0 else 0.5


def bubbles(case: Case) -> tuple[tuple[int, bool], ...]:
    """Return (stage, seen) of the clear hose."""
    stages = case.stages()
    return tuple(
        (stages[entry.id], data.result == "positive")
        for entry, data in case.of(TestData)
        if data.test == SIGHT and data.result in {"positive", "negative"}
    )


def impossible(
    observations: Sequence[Observation], table: PriorTable
) -> tuple[tuple[Observation, ...], tuple[Problem, ...]]:
    """Take out readings that no circuit of the table can give; say which unit may be meant."""
    good: list[Observation] = []
    problems: list[Problem] = []
    for o in observations:
        if o.meant:
            good.append(o)
            continue
        state = None if o.quantity == CHECK else table.state(o.key)
        expected = predicted(o, state, table.circuits)
        margin = 5.0 * _loose(o)
        low, high = np.quantile(expected, [0.0005, 0.9995])
        if o.quantity == VACUUM:
            high = min(high, _MOST_VACUUM - margin)
        hardly = o.quantity in _PRESSURES and _hardly_runs(o, expected[: table.starts[1]])
        # as low as an engine still turns over with is honest, however far the fault has gone
        if o.quantity in _PRESSURES and not o.key.throttled and o.value >= _LEAST_PRESSURE:
            low = min(low, o.value)
        if o.quantity == CHECK or (low - margin <= o.value <= high + margin and not hardly):
            good.append(o)
            continue
        if hardly:
            low, high = np.quantile(expected[: table.starts[1]], [0.0005, 0.9995])
        problems.append(_impossible(o, float(low), float(high)))
    dry = [o for o in good if _dry(o, good, table)]
    problems += [_no_return(o) for o in dry]
    return tuple(o for o in good if o not in dry), tuple(problems)


def _dry(o: Observation, others: Sequence[Observation], table: PriorTable) -> bool:
    """Whether hardly anything returns although the pressure is there: a unit gone wrong.

    At a pressure that a healthy engine shows its return line runs. A dribble there that would be
    a healthy flow in another unit was written in the wrong one.
    """
    if o.quantity != FLOW or o.value > 20.0 * L_PER_H or o.meant:
        return False
    state = table.state(o.key)
    sound = slice(0, int(table.starts[1]))
    pressure = np.quantile(state.gallery[sound], 0.05)
    flow = np.quantile(state.return_flow[sound], [0.02, 0.98])
    stands = any(
        p.quantity in {GALLERY, DELIVERY}
        and p.stage == o.stage
        and abs(p.key.rpm - o.key.rpm) <= 60.0
        and p.value >= pressure - 3.0 * PSI
        for p in others
    )
    units = [factor for _, _, factor in _meant(o) if factor > 1.0]
    return stands and any(flow[0] <= o.value * f <= flow[1] for f in units)


def _no_return(o: Observation) -> Problem:
    flow = o.value / L_PER_H
    return Problem(
        o.entry,
        f"{flow:.3g} L/h of return at {o.key.rpm:.0f} rpm is next to nothing, yet the pressure "
        "there is that of a healthy engine, whose return line runs.",
        f"If {flow:.3g} was read in L/min, gal/h or gal/min, write it so. It was left out.",
    )


def _dribble(entry: str, written: str, rpm: float) -> Problem:
    figure = written.split(maxsplit=1)[0]
    return Problem(
        entry,
        f"{written} of return at {rpm:.0f} rpm is less than anybody times in a can.",
        f"If {figure} was read in L/min or gal/min, write it so; where next to nothing runs, write "
        "0 L/h. It was left out.",
    )


def contradictions(observations: Sequence[Observation]) -> tuple[Problem, ...]:
    """Return what two readings of one stage say against each other."""
    found: list[Problem] = []
    for i, a in enumerate(observations):
        for b in observations[i + 1 :]:
            if a.stage == b.stage:
                found += _against(a, b)
    return tuple(found)


def _observation(
    entry: str, data: ReadingData, stage: int, problems: list[Problem]
) -> Observation | None:
    point, quantity = data.point, data.quantity
    rpm, load = point.rpm, point.fraction()
    extra = 0.0
    if quantity == CHECK:
        rpm, load = rpm or 650.0, 0.0
    if rpm is None and quantity == THROTTLED:
        rpm = 650.0
    if rpm is None:
        problems.append(
            Problem(entry, "The engine speed was not written down.",
                    "The fuel model cannot use the reading; write the rpm.")
        )  # fmt: skip
        return None
    if not 350.0 <= rpm <= 2600.0 and quantity != CHECK:
        problems.append(
            Problem(entry, f"{rpm:.0f} rpm is outside what the fuel model covers (350 to 2,600).",
                    "Check the engine speed.")
        )  # fmt: skip
        return None
    if load is None:
        load = 0.0
        if rpm >= 800.0 and quantity in _PRESSURES:
            extra = 3.0 * PSI
    cold = point.warm is False
    if cold:
        extra = float(np.hypot(extra, cold_extra(quantity)))
    read = data.as_read()
    value, half = read.middle, read.half
    if half > 0.0:  # somewhere between the ends of what was read
        extra = float(np.hypot(extra, half / math.sqrt(3.0)))
    slight = quantity == FLOW and 0.0 < value < _DRIBBLE and not half
    if slight and data.value.rstrip().endswith("/h"):
        problems.append(_dribble(entry, data.value, rpm))
        return None
    accuracy = uncertainty_of(data).accuracy
    instrument = data.instrument.id if data.instrument is not None else None
    gauge = _BUS if quantity == DELIVERY else (instrument or "gauge")
    if quantity in _PRESSURES:
        gauge_sd = float(np.clip(accuracy, 0.4 * PSI, 6.0 * PSI))
    elif quantity == CHECK:
        gauge_sd = 1.4 * PSI
    else:
        gauge_sd = 0.0
    return Observation(
        quantity=quantity,
        key=Key(float(rpm), float(min(load, 1.0)), quantity == THROTTLED, COLD if cold else 1.0),
        value=value,
        gauge=gauge,
        gauge_sd=gauge_sd,
        extra_sd=extra,
        stage=stage,
        entry=entry,
        typed=read.symbol,
        swing=0.0 if read.about else half,
        meant=half > 0.0,
    )


def _main_gauge(found: list[Observation]) -> tuple[Observation, ...]:
    """Mark the instrument whose error counts as the cause: the one most readings hang on."""
    names = [o.gauge for o in found if o.quantity in _PRESSURES]
    if not names:
        return tuple(found)
    main = max(dict.fromkeys(names), key=names.count)
    gauge_sd = next(o.gauge_sd for o in found if o.gauge == main and o.quantity in _PRESSURES)
    return tuple(
        replace(o, gauge=main, main=True, gauge_sd=gauge_sd)
        if o.quantity == CHECK
        else replace(o, main=o.gauge == main)
        for o in found
    )


def _loose(o: Observation) -> float:
    base = {FLOW: 6.0 * L_PER_H + 0.05 * o.value, VACUUM: 0.8 * INHG}.get(o.quantity, 2.0 * PSI)
    return float(np.hypot(base, o.extra_sd))


def _hardly_runs(o: Observation, healthy: Floats) -> bool:
    """Whether so little pressure reads like a healthy one in a unit gone wrong.

    No engine runs on its injectors below about 20 psi of supply (common practice, no source); a
    figure that would be healthy in another unit was then written in the wrong one.
    """
    if o.value >= 20.0 * PSI or o.key.rpm < 500.0:
        return False
    low, high = float(healthy.min()) - 15.0 * PSI, float(healthy.max()) + 15.0 * PSI
    return any(low <= o.value * factor <= high for _, _, factor in _meant(o))


def _impossible(o: Observation, low: float, high: float) -> Problem:
    scale, symbol = _shown(o.quantity)
    value = o.value / scale
    where = f"{o.key.rpm:.0f} rpm" + (", return throttled" if o.key.throttled else "")
    side = "above" if o.value > high else "below"
    kind = {FLOW: "flow", VACUUM: "vacuum"}.get(o.quantity, "pressure")
    limit, do = say.limit(kind, side == "above"), say.check_unit()
    for name, typed, factor in _meant(o):
        if low - 15.0 * scale <= o.value * factor <= high + 15.0 * scale:
            figure = f"{value * typed:.4g}"
            do = say.write_in(figure, name, True)
            break
    if side == "above" and o.quantity in _PRESSURES:
        do += say.stuck_shut()
    return Problem(
        o.entry,
        f"{value:.4g} {symbol} at {where} is {side} {limit} "
        f"({low / scale:.3g} to {high / scale:.3g} {symbol}).",
        do,
    )


def _shown(quantity: str) -> tuple[float, str]:
    return {FLOW: (L_PER_H, "L/h"), VACUUM: (INHG, "inHg")}.get(quantity, (PSI, "psi"))


def _meant(o: Observation) -> list[tuple[str, float, float]]:
    """Return what a figure may have been meant in, where its unit was written wrong.

    Each is (unit meant, factor from the shown unit to the figure as typed, factor on the value). A
    figure typed in one unit is never said to have been typed in another.
    """
    if o.quantity == FLOW:
        per = 227.1247
        typed_in = {"gal/min": 1.0 / per, "L/min": 1.0 / 60.0, "gal/h": 1.0 / 3.785412, "L/h": 1.0}
    elif o.quantity == VACUUM:
        typed_in = {"kPa": INHG / 1000.0, "inHg": 1.0, "psi": INHG / PSI}
    else:
        typed_in = {"bar": PSI / 1e5, "psi": 1.0, "kPa": PSI / 1000.0, "inHg": PSI / INHG}
    own = o.typed if o.typed in typed_in else _shown(o.quantity)[1]
    typed = typed_in[own]
    if own == next(iter(typed_in)):  # the unit farthest from the one written is the likeliest slip
        typed_in = dict(reversed(typed_in.items()))
    return [(unit, typed, typed / factor) for unit, factor in typed_in.items() if unit != own]


def _two_gauges(a: Observation, b: Observation, entries: str) -> list[Problem]:
    """Return the contradiction of two instruments at one point, where their errors explain none."""
    apart = abs(a.value - b.value)
    errors = (a.gauge_sd, b.gauge_sd, a.extra_sd, b.extra_sd, 1.0 * PSI, 1.0 * PSI)
    if a.key.viscosity != b.key.viscosity or apart <= _APART * float(np.linalg.norm(errors)):
        return []
    return [Problem(entries, f"Two instruments show {apart / PSI:.0f} psi of difference at one "
                    "point, more than their accuracies explain: one of them is wrong.",
                    "Hold a trusted gauge against both, write its gauge_check_difference, and "
                    "retract the readings of the wrong one.")]  # fmt: skip


def _against(a: Observation, b: Observation) -> list[Problem]:
    same = abs(a.key.rpm - b.key.rpm) <= 30.0 and abs(a.key.load - b.key.load) <= 0.05
    entries = f"{a.entry}, {b.entry}"
    if {a.quantity, b.quantity} == {GALLERY, PREFILTER} and same and a.gauge == b.gauge:
        gallery, pre = (a, b) if a.quantity == GALLERY else (b, a)
        if pre.value < gallery.value - 4.5 * PSI:
            return [Problem(entries, "The pressure before the filter is lower than after it; fuel "
                            "cannot flow that way.", "Check which port is which.")]  # fmt: skip
    if a.quantity != b.quantity:
        return []
    if same and a.gauge != b.gauge and a.quantity in _PRESSURES:
        return _two_gauges(a, b, entries)
    if same and a.gauge == b.gauge and a.key.viscosity == b.key.viscosity:
        if abs(a.value - b.value) > 4.5 * np.sqrt(2.0) * _loose(a):
            scale, symbol = _shown(a.quantity)
            figures = f"{a.value / scale:.3g} and {b.value / scale:.3g} {symbol}"
            return [Problem(entries, f"Two readings at {a.key.rpm:.0f} rpm contradict each other: "
                            f"{figures}, more apart than the instrument explains.",
                            "Measure again and retract the wrong one.")]  # fmt: skip
        return []
    slow, fast = (a, b) if a.key.rpm < b.key.rpm else (b, a)
    if (
        a.quantity == VACUUM
        and slow.key.rpm < fast.key.rpm - 100.0
        and slow.key.load <= fast.key.load + 0.02
        and slow.value > fast.value + 3.0 * np.hypot(_loose(a), _loose(b))
    ):
        return [Problem(entries, "The suction vacuum is higher at the lower engine speed; a pump "
                        "draws more at the higher one.",
                        "Check the gauge and the hose, and which reading belongs to which speed.")
                ]  # fmt: skip
    return []
