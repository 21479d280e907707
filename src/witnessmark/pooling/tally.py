"""What one shop's closed cases add up to: tables of counts, one customer's part in each bounded."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from witnessmark.pooling.blurring import Counts

__all__ = [
    "AGES", "CLASSES", "MINUTES", "TABLES", "Closed", "Shape", "Table", "age_of", "class_of",
    "minutes_of", "tally",
]  # fmt: skip

#: Classes of engines by displacement [L] and ages by miles; the last is "not written down".
CLASSES = ("under 9 L", "9 to 13 L", "13 L and more", "not told")
AGES = ("under 250,000 mi", "250,000 to 500,000 mi", "500,000 to 800,000 mi",
        "800,000 mi and more", "not told")  # fmt: skip
#: Hands-on minutes of a job, up to.
MINUTES = (30, 60, 120, 240, 480)


@dataclass(frozen=True, slots=True)
class Table:
    """One kind of count.

    Attributes:
        name: as it stands in the file.
        most: what one customer adds to it at the most in a quarter, all cells together.
        part: its part of the budget; the parts of all tables add up to 1.
    """

    name: str
    most: int
    part: Fraction


#: The bounds are judgement: a fleet with many trucks counts like a customer with two.
TABLES = (
    Table("closings", 2, Fraction(12, 20)),
    Table("by_class", 1, Fraction(2, 20)),
    Table("by_age", 1, Fraction(2, 20)),
    Table("results", 4, Fraction(2, 20)),
    Table("minutes", 2, Fraction(1, 20)),
    Table("comebacks", 2, Fraction(1, 20)),
)


@dataclass(frozen=True, slots=True)
class Shape:
    """The cells that exist: what the packs list, never what a shop happens to have.

    Attributes:
        causes: family -> its causes, in the pack's order.
        tests: family -> test -> its results, in the pack's order.
    """

    causes: Mapping[str, tuple[str, ...]]
    tests: Mapping[str, Mapping[str, tuple[str, ...]]]


@dataclass(frozen=True, slots=True)
class Closed:
    """One proven closing as it may be counted; the customer only says whose it is.

    Attributes:
        customer: whose truck; never leaves this module.
        family: family id.
        cause: cause that was proven first.
        alone: it was the only one; only then do test results teach.
        engine_class: one of :data:`CLASSES`.
        age: one of :data:`AGES`.
        results: (test id, result id) before the proven repair.
        minutes: hands-on time of its repair, ``None`` where not written down.
        came_back: it was gone and came back.
    """

    customer: str
    family: str
    cause: str
    alone: bool
    engine_class: str
    age: str
    results: tuple[tuple[str, str], ...] = ()
    minutes: float | None = None
    came_back: bool = False


def class_of(displacement_l: float | None) -> str:
    """Return the class of an engine by its displacement [L]."""
    if displacement_l is None:
        return CLASSES[3]
    return CLASSES[0] if displacement_l < 9 else CLASSES[1] if displacement_l < 13 else CLASSES[2]


def age_of(miles: float | None) -> str:
    """Return the age band of a truck by its miles."""
    if miles is None:
        return AGES[4]
    return AGES[sum(miles >= edge for edge in (250_000, 500_000, 800_000))]


def minutes_of(minutes: float) -> int:
    """Return the number of a job's band of hands-on time; the last is "more"."""
    return sum(minutes > edge for edge in MINUTES)


def tally(closed: Sequence[Closed], shape: Shape) -> dict[str, dict[str, Counts]]:
    """Return table -> key -> counts, no customer above his bound in any table.

    Keys are families; of ``results`` "family test". Counts are of shape (causes,), (classes,
    causes), (ages, causes), (causes, results), (causes, bands of minutes) and (causes, 2): closed,
    came back. Whose closings are many, the first ones of the row count.

    Args:
        closed: closings in the order in which they count.
        shape: the cells.
    """
    found = {table.name: _empty(table.name, shape) for table in TABLES}
    left = {table.name: Counter[str]() for table in TABLES}
    most = {table.name: table.most for table in TABLES}

    def add(table: str, customer: str, key: str, cells: Iterable[tuple[int, ...]]) -> None:
        for cell in cells:
            if left[table][customer] < most[table]:
                left[table][customer] += 1
                found[table][key][cell] += 1

    for one in closed:
        causes = shape.causes.get(one.family, ())
        if one.cause not in causes:
            continue
        cause = causes.index(one.cause)
        who, family = one.customer, one.family
        add("comebacks", who, family, [(cause, 0), *([(cause, 1)] if one.came_back else [])])
        if one.came_back:
            continue  # nothing was proven then
        add("closings", who, family, [(cause,)])
        add("by_class", who, family, [(CLASSES.index(one.engine_class), cause)])
        add("by_age", who, family, [(AGES.index(one.age), cause)])
        if one.minutes is not None:
            add("minutes", who, family, [(cause, minutes_of(one.minutes))])
        for test, result in dict(one.results).items() if one.alone else ():
            results = shape.tests.get(family, {}).get(test, ())
            if result in results:
                add("results", who, f"{family} {test}", [(cause, results.index(result))])
    return found


def _empty(table: str, shape: Shape) -> dict[str, Counts]:
    if table == "results":
        return {
            f"{family} {test}": np.zeros((len(shape.causes[family]), len(results)), np.int64)
            for family, tests in shape.tests.items()
            for test, results in tests.items()
        }
    before: dict[str, tuple[int, ...]] = {"by_class": (len(CLASSES),), "by_age": (len(AGES),)}
    behind: dict[str, tuple[int, ...]] = {"minutes": (len(MINUTES) + 1,), "comebacks": (2,)}
    return {
        family: np.zeros((*before.get(table, ()), len(causes), *behind.get(table, ())), np.int64)
        for family, causes in shape.causes.items()
    }
