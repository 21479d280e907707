"""Taking readings in order: what to read for a complaint, in which unit, at which point next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from witnessmark.knowledge import Knowledge
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import Instrument, OutcomeData, ReadingData
from witnessmark.model.finding import OperatingPoint
from witnessmark.units import QUANTITIES, UNITS, parse_range
from witnessmark.words.numbers import percentage

__all__ = [
    "Baseline",
    "Next",
    "baselines",
    "next_reading",
    "quantities_for",
    "readings_taken",
    "units_for",
]

#: Speeds that are gone through when nothing says otherwise [r/min] (common practice, no source).
_SPEEDS = (700.0, 1000.0, 1500.0, 1800.0)
_UNIT_ORDER: dict[str, tuple[str, ...]] = {
    "pressure": ("psi", "kPa", "bar", "inHg", "inH2O", "mmHg"),
    "temperature": ("degF", "degC"),
    "speed": ("mph", "km/h"),
    "flow": ("gal/min", "gal/h", "L/h", "L/min"),
    "length": ("in", "mm"),
    "voltage": ("V", "mV"),
    "resistance": ("ohm", "mohm", "kohm"),
    "time": ("s", "min", "h"),
    "angle": ("deg",),
    "torque": ("lbf·ft", "lbf·in", "N·m"),
    "acceleration": ("m/s2", "g0", "mg0"),
}


@dataclass(frozen=True, slots=True)
class Next:
    """What the form for the next reading starts with.

    Attributes:
        quantity: what is read.
        unit: symbol chosen.
        units: symbols one tap away, the usual first.
        point: operating point; its speed may be unknown.
        speeds: speeds one tap away [r/min].
        instrument: as on the last reading, ``None`` when there was none.
        repeats: the point was read before the last work and not yet after it.
    """

    quantity: str
    unit: str
    units: tuple[str, ...]
    point: OperatingPoint
    speeds: tuple[int, ...]
    instrument: Instrument | None
    repeats: bool

    @property
    def signed(self) -> bool:
        """Whether a reading below zero is an ordinary one."""
        row = QUANTITIES[self.quantity]
        return row.kind == "temperature" or self.quantity == "gauge_check_difference"

    @property
    def load_word(self) -> str:
        """The load as it is typed; empty where it is not known."""
        load = self.point.load
        if load is None:
            return ""
        return "none" if load <= 0 else "full" if load >= 1 else percentage(load)


@dataclass(frozen=True, slots=True)
class Baseline:
    """The newest reading of a quantity at a point, on one truck.

    Attributes:
        quantity: what was read.
        point: where, in words.
        value: as it was typed.
        at: when.
        case: case id.
        entry: entry id.
        after_proof: the customer later said that the complaint was gone.
    """

    quantity: str
    point: str
    value: str
    at: str
    case: str
    entry: str
    after_proof: bool


def baselines(cases: Sequence[Case]) -> list[Baseline]:
    """Return the newest reading of each quantity at each point over all visits of a truck."""
    newest: dict[tuple[str, str], Baseline] = {}
    for case in cases:
        stages = case.stages()
        last = max(stages.values(), default=0)
        well = any(d.gone is True for _, d in case.of(OutcomeData))
        for entry, data in case.of(ReadingData):
            key = (data.quantity, _point(data).words())
            good = well and stages[entry.id] == last
            row = Baseline(*key, data.value, entry.at, case.id, entry.id, good)
            held = newest.get(key)
            if held is None or (row.after_proof, row.at) >= (held.after_proof, held.at):
                newest[key] = row
    return [newest[key] for key in sorted(newest)]


def quantities_for(case: Case, knowledge: Knowledge) -> tuple[str, ...]:
    """Return what is usually read for the complaints of a case, what was read already first."""
    read = list(dict.fromkeys(data.quantity for _, data in case.of(ReadingData)))
    families = (f for i in case.families() if (f := knowledge.families.get(i)) is not None)
    usual = [offered.quantity for family in families for offered in family.offered]
    always = [offered.quantity for offered in knowledge.offered if offered.always]
    rows = dict.fromkeys([*usual, *read] if usual else [*read, *always])
    return tuple(q for q in rows if q in QUANTITIES)


def units_for(quantity: str, *, si: bool = False) -> tuple[str, ...]:
    """Return the units of a quantity, the shop's own (or SI) first."""
    row = QUANTITIES[quantity]
    first = (row.si, row.shop) if si else (row.shop, row.si)
    usual = _UNIT_ORDER.get(row.kind, ())
    return tuple(dict.fromkeys(u for u in (*first, *usual) if UNITS[u].kind == row.kind))[:6]


def readings_taken(case: Case, quantity: str, stage: int) -> list[OperatingPoint]:
    """Return the points at which a quantity was read in a stage, in order."""
    stages = case.stages()
    return [
        _point(data)
        for entry, data in case.of(ReadingData)
        if data.quantity == quantity and stages[entry.id] == stage
    ]


def next_reading(
    case: Case,
    knowledge: Knowledge,
    quantity: str | None = None,
    *,
    si: bool = False,
    advance: bool = True,
) -> Next:
    """Return what the form for the next reading starts with.

    After work the points that were read before it come again, in the same order; otherwise the
    usual speeds that are not read yet, in the conditions of the last reading, as are instrument
    and unit. Before the first reading nothing is assumed.

    Args:
        case: the case.
        knowledge: the packs.
        quantity: what is read; the last one when not given.
        si: whether SI units come first.
        advance: go on to the next point; otherwise stay on the last one.
    """
    taken = list(case.of(ReadingData))
    stage = max(case.stages().values(), default=0)
    if taken and case.live()[-1].kind == "work":
        stage += 1
    if quantity is None or quantity not in QUANTITIES:
        quantity = taken[-1][1].quantity if taken else quantities_for(case, knowledge)[0]
    units = units_for(quantity, si=si)
    same = [data for _, data in taken if data.quantity == quantity]
    last = same[-1] if same else (taken[-1][1] if taken else None)
    symbol = parse_range(quantity, same[-1].value).symbol if same else units[0]
    done = readings_taken(case, quantity, stage)
    before = [p for s in range(stage - 1, -1, -1) for p in readings_taken(case, quantity, s)]
    no_speed = any(o.quantity == quantity and not o.at_speed for o in knowledge.offered)
    point, repeats = (
        (OperatingPoint(), False) if no_speed else _next_point(done, before, last, advance)
    )
    told = [p.rpm for p in (*before, *done, point) if p.rpm is not None]
    speeds = [] if no_speed else [round(rpm) for rpm in (*told, *_SPEEDS)]
    return Next(
        quantity,
        symbol,
        tuple(dict.fromkeys((*units, symbol))),
        point,
        tuple(sorted(dict.fromkeys(speeds)))[:8],
        last.instrument if last else None,
        repeats,
    )


def _next_point(
    done: list[OperatingPoint],
    before: list[OperatingPoint],
    last: ReadingData | None,
    advance: bool,
) -> tuple[OperatingPoint, bool]:
    if not advance and last is not None:
        return _point(last), False
    for point in before:
        if not any(point.matches(d) for d in done):
            return point, True
    # The next speed, in the conditions that were told last: a load is never proposed.
    told = _point(last) if last else OperatingPoint()
    for speed in _SPEEDS:
        point = OperatingPoint(speed, told.load, told.gear, told.warm)
        if last and not any(point.matches(d) for d in done):
            return point, False
    return OperatingPoint(None, told.load, told.gear, told.warm), False


def _point(data: ReadingData) -> OperatingPoint:
    return data.point.at()
