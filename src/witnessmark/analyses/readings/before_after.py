"""The same quantity at the same operating point, before and after work: pairs with intervals."""

from __future__ import annotations

from witnessmark.analyses.an_analysis import Bench, Reading
from witnessmark.analyses.readings.instruments import same_instrument, uncertainty_of
from witnessmark.analyses.readings.specification import Checked, check_reading
from witnessmark.model.details.reading_details import Compared
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.proof import Pair
from witnessmark.physics.conformity import Difference, difference
from witnessmark.units import QUANTITIES, display_unit, from_house, spoken
from witnessmark.words.say import proof as say

__all__ = ["NEEDS", "analyse", "pairs"]

NEEDS = ("readings of one quantity at one operating point before and after a work entry",)
METHOD = "before_after/1"


def pairs(bench: Bench, *, before_stage: int = 0) -> tuple[Pair, ...]:
    """Return one pair for every quantity and operating point measured before or after the work.

    *Before* is the last reading of the state at or before *before_stage* (0: as the truck came
    in, or the nearest later state before the last work); *after* is the last reading of the
    state the truck is in now. A side that was not measured stays ``None``; before any work is
    done every reading is a *before*.
    """
    last = bench.last_stage()
    readings = list(bench.readings())
    after = {_key(r): r for r in readings if r.stage == last > 0}
    found: list[Pair] = []
    used: set[str] = set()
    for reading in after.values():
        before = _before(readings, reading, last, before_stage)
        if before is not None:
            used.add(before.entry.id)
        found.append(_pair(bench, before, reading))
    lonely = {_key(r): r for r in readings if r.stage < max(last, 1) and r.entry.id not in used}
    for reading in lonely.values():
        matched = any(
            r.data.quantity == reading.data.quantity and r.point.matches(reading.point)
            for r in after.values()
        )
        if not matched:
            found.append(_pair(bench, reading, None))
    return tuple(found)


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return one finding a pair that has both sides: the change and whether it is shown."""
    return tuple(
        _finding(bench, pair)
        for pair in pairs(bench)
        if pair.before is not None and pair.after is not None
    )


def _key(reading: Reading) -> tuple[str, float | None, float | None, str | None, str | None, bool]:
    """Return what parts two readings; where no speed was read, what the engine did does too.

    What was read on a cold engine never stands for what it reads when it is warm.
    """
    point = reading.point
    rpm = None if point.rpm is None else round(point.rpm / 50)
    engine, cold = None if rpm else point.engine, point.warm is False
    return reading.data.quantity, rpm, point.load, point.gear, engine, cold


def _before(
    readings: list[Reading], after: Reading, last: int, before_stage: int
) -> Reading | None:
    candidates = [
        r for r in readings
        if r.stage < last and r.data.quantity == after.data.quantity
        and r.point.matches(after.point)
    ]  # fmt: skip
    first = [r for r in candidates if r.stage <= before_stage]
    alike = [r for r in first if _name(r) and _name(r) == _name(after)]
    # Nothing measured as it came in: the earliest state that was.
    return (alike or first)[-1] if first else (candidates[0] if candidates else None)


def _pair(bench: Bench, before: Reading | None, after: Reading | None) -> Pair:
    one = after or before
    assert one is not None  # noqa: S101
    change: Difference | None = None
    if before is not None and after is not None:
        first, second = uncertainty_of(before.data), uncertainty_of(after.data)
        change = difference(
            before.value,
            after.value,
            repeatability=max(first.repeatability, second.repeatability),
            u_before=first.accuracy,
            u_after=second.accuracy,
            same_instrument=same_instrument(before.data, after.data),
        )
    checked: Checked | None = check_reading(bench, after) if after is not None else None
    swapped, apart = _two_instruments(bench, before, after)
    return Pair(
        quantity=one.data.quantity,
        point=one.point,
        before=None if before is None else before.value,
        after=None if after is None else after.value,
        unit=QUANTITIES[one.data.quantity].house,
        difference=None if change is None else change.value,
        low=None if change is None else change.low,
        high=None if change is None else change.high,
        provable=None if change is None else change.provable,
        shown=None if change is None else change.shown,
        spec="no band" if checked is None else checked.verdict,
        conformity=None if checked is None else checked.probability,
        band=None if checked is None else (checked.low, checked.high),
        band_source="" if checked is None else checked.source,
        evidence=tuple(r.entry.id for r in (before, after) if r is not None),
        swapped=swapped,
        apart=apart,
        swing=0.0 if after is None else after.data.as_read().half,
    )


def _two_instruments(
    bench: Bench, before: Reading | None, after: Reading | None
) -> tuple[tuple[str, str] | None, float | None]:
    """Return two instruments that were not shown to read alike, and how far apart they read.

    They were compared where both read one quantity at one point in one state of the truck. An
    instrument without a name is not held to be another one.
    """
    if before is None or after is None:
        return None, None
    one, two = _name(before), _name(after)
    if not one or not two or one == two:
        return None, None
    named = [r for r in bench.readings() if _name(r) in {one, two}]
    sides = [
        (first, second)
        for first in named
        for second in named
        if (_name(first), _name(second)) == (one, two)
        and first.stage == second.stage
        and first.data.quantity == second.data.quantity
        and first.point.matches(second.point)
    ]
    if not sides:
        return (one, two), None
    first, second = sides[-1]
    more = first.value - second.value
    off = uncertainty_of(first.data).u ** 2 + uncertainty_of(second.data).u ** 2
    if abs(more) <= 2.0 * off**0.5:
        return None, None
    return (one, two), more


def _said_of_instruments(pair: Pair, scale: float, unit: str) -> str:
    if pair.swapped is None:
        return ""
    apart = None if pair.apart is None else f"{abs(pair.apart) * scale:.3g} {unit}"
    return " " + say.two_instruments(*pair.swapped, apart, (pair.apart or 0.0) > 0)


def _name(reading: Reading) -> str:
    instrument = reading.data.instrument
    return "" if instrument is None or instrument.id is None else instrument.id


def _finding(bench: Bench, pair: Pair) -> Finding:
    unit = display_unit(pair.quantity)
    house = QUANTITIES[pair.quantity].house
    assert pair.before is not None  # noqa: S101
    assert pair.after is not None  # noqa: S101
    assert pair.difference is not None  # noqa: S101
    before, after = (from_house(pair.quantity, v, unit) for v in (pair.before, pair.after))
    scale = abs(from_house(pair.quantity, 1.0, unit) - from_house(pair.quantity, 0.0, unit))
    step = pair.difference * scale
    words = spoken(pair.quantity, leading=True)
    if pair.shown:
        what = f"{'up' if step > 0 else 'down'} {abs(step):.3g} {unit}"
    else:
        what = f"no change shown (below {(pair.provable or 0.0) * scale:.2g} {unit})"
    return Finding(
        code=f"{pair.quantity}_before_after",
        sentence=f"{words} at {pair.point.words()}: {before:.4g} before, "
        f"{after:.4g} {unit} after, {what}.{_said_of_instruments(pair, scale, unit)}",
        outcome="seen" if pair.shown else "not_seen",
        quantity=pair.quantity,
        value=pair.difference,
        unit=house,
        low=pair.low,
        high=pair.high,
        coverage=0.95,
        point=pair.point,
        evidence=Evidence(entries=pair.evidence),
        method=METHOD,
        stage=bench.last_stage(),
        details=Compared(provable=pair.provable, difference=True),
    )
