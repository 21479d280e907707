"""How what the fuel model finds may be said.

Zone first, then the part inside it. Above 80 % "points to", from 50 % "suspect", otherwise "not
decided between". Two readings never name one part, unless the type is known and it stands above
80 %. Causes the readings cannot tell apart are named together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from witnessmark.inference.fuel.fuel_groups import (
    AIR,
    GAUGE,
    GROUPS,
    LEAK,
    OTHER,
    PUMP,
    RELIEF,
    RETURN,
    SUCTION,
    ZONES,
)
from witnessmark.words.say import fuel as say
from witnessmark.words.strength import how_sure

__all__ = [
    "LOOKS_LIKE",
    "Presentation",
    "may_name_one",
    "present_fuel",
    "zone_probabilities",
]

Floats = npt.NDArray[np.float64]

POINTS_TO, SUSPECT = 0.80, 0.50
#: Groups that look the same, and what tells them apart. From the model (docs/fuel_supply.md).
LOOKS_LIKE: tuple[tuple[int, int, str], ...] = tuple(
    (a, b, say.APART_WORDS[GROUPS[a].key, GROUPS[b].key])
    for a, b in ((RELIEF, PUMP), (LEAK, RETURN), (RELIEF, GAUGE), (PUMP, AIR), (AIR, SUCTION))
)


@dataclass(frozen=True, slots=True)
class Presentation:
    """What may be said.

    Attributes:
        statement: the sentence.
        zones: (zone, probability), likeliest first.
        parts: (group number, probability), likeliest first.
        named: the group that is named alone, ``None`` when none may be.
        level: points to, suspect, not decided, none fits, healthy.
        looks_like: (group, group, what tells them apart) for the leading parts.
    """

    statement: str
    zones: tuple[tuple[str, float], ...]
    parts: tuple[tuple[int, float], ...]
    named: int | None
    level: str
    looks_like: tuple[tuple[int, int, str], ...]


def may_name_one(readings: int, type_known: bool, probability: float) -> bool:
    """Say whether one part may be named.

    From three readings on; from one or two only where the type is known and the part stands
    above 80 %.
    """
    return readings > 2 or (type_known and probability > POINTS_TO)


def present_fuel(
    groups: Floats,
    zones: Sequence[tuple[str, float]],
    healthy: float,
    *,
    readings: int,
    type_known: bool,
    fits: bool,
    measure: str = "",
    seat_seen: bool = True,
) -> Presentation:
    """Put probabilities into words.

    Args:
        groups: P(at fault) of the nine groups.
        zones: P(something in it at fault).
        healthy: P(nothing at fault).
        readings: readings of the present state.
        type_known: whether the type is known from the shop's own healthy readings.
        fits: whether some modelled explanation fits.
        measure: what to measure next, in words.
        seat_seen: whether the relief valve has been looked at; the pump is not named before.
    """
    parts = tuple(sorted(((i, float(p)) for i, p in enumerate(groups)), key=lambda x: -x[1]))
    ordered = tuple(sorted(zones, key=lambda z: -z[1]))
    first, chance = parts[0]
    alike = tuple(
        pair for pair in LOOKS_LIKE
        if min(groups[pair[0]], groups[pair[1]]) >= 0.05
        and max(groups[pair[0]], groups[pair[1]]) >= 0.2
    )  # fmt: skip
    tail = [say.measure_next(measure)] if measure else []
    if not fits:
        return Presentation(say.none_fits(), ordered, parts, None, "none fits", ())
    if healthy >= SUSPECT and healthy > chance:
        text = " ".join([say.healthy(), *tail])
        return Presentation(text, ordered, parts, None, "healthy", alike)
    if healthy > chance:
        text = " ".join([say.perhaps_healthy(), *tail])
        return Presentation(text, ordered, parts, None, "perhaps healthy", alike)
    zone, zone_chance = ordered[0]
    sure = zone_chance >= SUSPECT and readings > 2
    said = [say.side(how_sure(zone_chance), zone) if sure else say.likeliest_side(zone)]
    named, level = None, "not decided"
    if first == PUMP and not seat_seen and chance >= SUSPECT:
        said.append(say.look_at_seat(GROUPS[PUMP].name))
    elif chance >= SUSPECT and may_name_one(readings, type_known, chance):
        named = first
        level = "points to" if chance > POINTS_TO else "suspect"
        said.append(say.part(how_sure(chance), GROUPS[first].name))
    else:
        leading = [p for p in parts[:3] if p[1] >= 0.08 and p[0] != OTHER] or list(parts[:2])
        said.append(say.not_decided([GROUPS[i].name for i, _ in leading]))
    return Presentation(" ".join([*said, *tail]), ordered, parts, named, level, alike)


def zone_probabilities(labels: npt.NDArray[np.int64], weight: Floats) -> list[tuple[str, float]]:
    """Return P(something in the zone is at fault) from weighted sets of groups (as bits)."""
    found = []
    for zone in ZONES:
        mask = sum(1 << i for i, g in enumerate(GROUPS) if g.zone == zone)
        found.append((zone, float(weight[(labels & mask) != 0].sum())))
    return found
