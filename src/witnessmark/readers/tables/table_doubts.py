"""What the numbers of a table say against its headings; nothing here guesses, all of it asks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from witnessmark.model.recording import Floats
from witnessmark.readers.columns.column_names import ColumnHeading
from witnessmark.readers.told import Trouble
from witnessmark.units import QUANTITIES

__all__ = ["beside_another_clock", "doubted", "too_fast"]

#: Fewer numbers say nothing.
_LEAST = 8
#: Coolant and oil do not warm or cool faster than this over a whole recording [K/s] (common
#: practice, no source).
_FASTEST = 2.0
#: A change that is looked at [K].
_CHANGE = 20.0
#: Units that speak of a reading even where the words do not.
_TELLING = {"speed_of_rotation", "pressure", "temperature"}


def doubted(
    headings: Sequence[ColumnHeading], columns: Mapping[int, Floats], trouble: Trouble
) -> tuple[ColumnHeading, ...]:
    """Return the headings without the quantities that the numbers speak against."""
    found = list(headings)
    first: dict[tuple[str, str], int] = {}
    for number, column in columns.items():
        one = found[number]
        known = column[~np.isnan(column)]
        if one.quantity is None:
            _unknown(one, known, trouble)
            continue
        key = (one.quantity, one.label)
        before = first.setdefault(key, number)
        if before != number and not np.array_equal(column, columns[before], equal_nan=True):
            for place in (before, number):
                found[place] = replace(found[place], quantity=None, wanted=None)
            trouble.add(
                f"twice {one.label}",
                f"The heading '{one.label}' stands over columns {before + 1} and {number + 1}, "
                f"which differ; neither is used as {one.quantity}.",
                do="Name them once each, such as 'left=...'; export them under headings of their "
                "own.",
                where=one.label,
            )
        elif _is_share(one, known):
            found[number] = replace(one, quantity=None, wanted=None)
            trouble.add(
                f"share {one.label}",
                f"The column '{one.label}' says % and goes from {known.min():g} to "
                f"{known.max():g}: percent, or shares of one? It is not used as {one.quantity}.",
                do="Export it in percent.",
                where=one.label,
            )
    return tuple(found)


def beside_another_clock(
    headings: Sequence[ColumnHeading],
    time: int | None,
    raw: Floats | None,
    columns: dict[int, Floats],
    trouble: Trouble,
) -> dict[int, Floats]:
    """Return the columns that go by the table's clock.

    Where the heading of the time stands a second time, another table stands to the right of it.
    If its clock differs, its values belong to other times.
    """
    if time is None or raw is None:
        return columns
    for number, one in enumerate(headings):
        if number <= time or not one.time or one.label != headings[time].label:
            continue
        other = columns.get(number)
        if other is None or np.array_equal(other, raw, equal_nan=True):
            continue
        unit = headings[time].unit
        scale = unit.factor if unit is not None else 1.0
        if np.allclose(other * scale, raw, equal_nan=True):
            continue
        trouble.add(
            "two clocks",
            f"The time stands in columns {time + 1} and {number + 1}, and they differ: the columns "
            f"from {number + 1} on belong to another clock and are not used.",
            do="Export the two tables by themselves.",
            where=one.label,
        )
        return {n: c for n, c in columns.items() if n < number}
    return columns


def too_fast(
    headings: Sequence[ColumnHeading],
    columns: Mapping[int, Floats],
    time: Floats,
    trouble: Trouble,
) -> bool:
    """Say whether a time whose unit was not stated makes a liquid warm faster than it can."""
    if time.size < _LEAST or np.isnan(time).any() or time[-1] <= time[0]:
        return False
    for number, column in columns.items():
        one = headings[number]
        if one.quantity not in {"coolant_temperature", "oil_temperature"} or one.unit is None:
            continue
        known = np.flatnonzero(~np.isnan(column))
        if known.size < _LEAST:
            continue
        ends = column[known[[0, -1]]] * one.unit.factor
        change, lasts = abs(float(ends[1] - ends[0])), float(time[known[-1]] - time[known[0]])
        if change >= _CHANGE and lasts > 0.0 and change / lasts > _FASTEST:
            trouble.add(
                "unit of time",
                f"The time column does not say its unit; taken as seconds '{one.label}' would "
                f"change by {change:.0f} K in {lasts:.0f} s. Nothing that depends on time is "
                "judged.",
                do="Name it once, such as 'Time=time [min]' or 'Time=time [s]'.",
            )
            return True
    return False


def _is_share(one: ColumnHeading, known: Floats) -> bool:
    if one.unit is None or one.unit.symbol != "%" or known.size < _LEAST:
        return False
    low, high = float(known.min()), float(known.max())
    return low >= 0.0 and high <= 1.0 and high - low >= 0.2 and bool((known % 1.0 > 0.0).any())


def _unknown(one: ColumnHeading, known: Floats, trouble: Trouble) -> None:
    """Say that a column in a telling unit is under no name that is known here."""
    if one.unit is None or one.unit.kind not in _TELLING or not known.size or one.wanted:
        return
    trouble.add(
        "unknown columns",
        f"'{one.label}' is in {one.unit.symbol}, but its heading is none that is known here "
        "({count} such columns); it is shown and not used.",
        do=f"Name it once, such as '{one.label}={_example(one.unit.kind)}'.",
        where=one.label,
    )


def _example(kind: str) -> str:
    name = {"speed_of_rotation": "engine_speed", "pressure": "oil_pressure"}.get(
        kind, "oil_temperature"
    )
    return f"{name} [{QUANTITIES[name].shop}]"
