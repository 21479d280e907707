"""Links between families: one fault that makes two complaints, joined exactly.

Two linked families are independent but for their links. A link multiplies the joint probability
by its odds when a cause of either side is present. The sum over all other families runs over
their link events only (is one of these causes present?), so it stays small and exact.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from witnessmark.inference.family.elimination import eliminate
from witnessmark.inference.family.family_belief import Belief
from witnessmark.inference.family.likelihood import Floats, any_in
from witnessmark.knowledge import Link

__all__ = ["link_factors", "links_between"]

#: More links at once than this are not joined; the strongest are (no case has come near it).
MOST_LINKS = 12


def links_between(links: Sequence[Link], beliefs: Mapping[str, Belief]) -> list[Link]:
    """Return the links that join two of these families, strongest first."""
    known = {c for belief in beliefs.values() for c in belief.causes}
    found = [
        link
        for link in links
        if any(c in known for c in link.causes) and any(c in known for c in link.other)
    ]
    return sorted(found, key=lambda k: -abs(np.log(k.odds)))[:MOST_LINKS]


def link_factors(links: Sequence[Link], beliefs: Mapping[str, Belief]) -> dict[str, Floats]:
    """Return, for each family, what the other complaints say: a likelihood over its states.

    Args:
        links: the packs' links.
        beliefs: family id -> belief from its own evidence.
    """
    used = links_between(links, beliefs)
    ends: dict[str, list[tuple[int, tuple[str, ...]]]] = {f: [] for f in beliefs}
    for number, link in enumerate(used):
        for side, causes in enumerate((link.causes, link.other)):
            family = next(f for f, b in beliefs.items() if set(causes) & set(b.causes))
            ends[family].append((2 * number + side, causes))
    tables = {f: _events(beliefs[f], e) for f, e in ends.items() if e}
    joins: list[tuple[Floats, tuple[int, ...]]] = [
        (np.array([[1.0, 1.0], [1.0, link.odds]]), (2 * number, 2 * number + 1))
        for number, link in enumerate(used)
    ]
    factors = {}
    for family, (codes, _, axes) in tables.items():
        others = [(chance, its) for f, (_, chance, its) in tables.items() if f != family]
        message = eliminate([*joins, *others], axes)
        factors[family] = np.asarray(message.reshape(-1)[codes] / message.max())
    return factors


def _events(
    belief: Belief, ends: Sequence[tuple[int, tuple[str, ...]]]
) -> tuple[npt.NDArray[np.int64], Floats, tuple[int, ...]]:
    """Return (event number of each state, P(events) with one axis an event, names of the axes)."""
    codes: npt.NDArray[np.int64] = np.zeros(len(belief.states), dtype=np.int64)
    for _, causes in ends:
        rows = [belief.model.number[c] for c in causes if c in belief.model.number]
        codes = np.asarray(2 * codes + any_in(len(belief.causes), tuple(rows)))
    chance: Floats = np.asarray(
        np.bincount(codes, weights=belief.states, minlength=2 ** len(ends)), dtype=np.float64
    )
    return codes, chance.reshape((2,) * len(ends)), tuple(axis for axis, _ in ends)
