"""What every finding can be asked about its further numbers, whatever its kind.

An analysis writes the record of its own kind of finding; a reader who needs the numbers of one
kind asks for that record, and one who asks every finding reads what stands here.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Self

__all__ = ["ABSENT", "NO_DETAILS", "Details", "Told"]

#: Mark of a field that JSON leaves out while it is ``None``; other missing values are null.
ABSENT: Mapping[str, bool] = {"absent": True}
Told = str | int | float | bool | None | list[str | int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Details:
    """The further numbers of a finding; this one has none.

    A record of a kind that has one of the following overrides it by a field of the same name,
    always with a default of its own.
    """

    @property
    def short(self) -> str:
        """Return the finding in a few words, for the reasons of a cause; empty without."""
        return ""

    @property
    def assumptions(self) -> tuple[str, ...]:
        """Return what was assumed."""
        return ()

    @property
    def fits(self) -> bool | None:
        """Return whether the model behind it explains the readings; ``None`` without a model."""
        return None

    @property
    def conflict(self) -> str:
        """Return which readings contradict each other, in words; empty where none do."""
        return ""

    @property
    def type_known(self) -> bool | None:
        """Return whether the engine's type is known from healthy readings of the shop's own."""
        return None

    @property
    def only_points(self) -> bool:
        """Return whether it is a pointer only, which names no part however many there are."""
        return False

    @property
    def effective_samples(self) -> int | None:
        """Return how many effective draws a joint likelihood rests on."""
        return None

    @property
    def covered_s(self) -> float | None:
        """Return for how long it was looked [s]."""
        return None

    @property
    def difference(self) -> bool | None:
        """Return whether the value is a difference, which converts without an offset."""
        return None

    @property
    def stands_for(self) -> tuple[str, ...] | None:
        """Return the tests by hand that it answers; ``None`` where it answers for none."""
        return None

    @property
    def uses_tests(self) -> tuple[str, ...] | None:
        """Return the tests by hand whose result it has used; ``None`` where it uses none."""
        return None

    def uncounted(self) -> Self:
        """Return the same without the tests that it answers or has used."""
        named = {f.name for f in fields(self)} & {"stands_for", "uses_tests"}
        return replace(self, **dict.fromkeys(named))

    def to_json(self) -> dict[str, Told]:
        """Return words, numbers and lists of words or counts as JSON types, in their order.

        Series and tables are for the pictures and are left out. What is not finite is null.
        """
        found: dict[str, Told] = {}
        for one in fields(self):
            value = getattr(self, one.name)
            if value is None and "absent" in one.metadata:
                continue
            if isinstance(value, float):
                found[one.name] = value if math.isfinite(value) else None
            elif isinstance(value, str | int) or value is None:
                found[one.name] = value
            elif isinstance(value, list | tuple) and _plain(value):
                found[one.name] = list(value)
        return found


def _plain(values: Sequence[object]) -> bool:
    return all(isinstance(v, str | int) for v in values)


NO_DETAILS = Details()
