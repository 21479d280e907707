"""Further numbers of findings about readings, the road test and what their models made of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from witnessmark.model.details.finding_details import ABSENT, Details

__all__ = [
    "AgainstBand",
    "CardPoint",
    "Compared",
    "ModelRefused",
    "ReadingsModel",
    "RoadCard",
    "SaidShort",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class AgainstBand(Details):
    """A reading against its healthy band.

    Attributes:
        verdict: inside, outside or cannot tell; anything else where there is no band.
        conformity: probability that the true value lies inside.
        band_low: lower end in the house unit, ``None`` without.
        band_high: upper end in the house unit, ``None`` without.
    """

    verdict: str
    conformity: float | None = None
    band_low: float | None = None
    band_high: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared(Details):
    """A reading before and after the work.

    Attributes:
        provable: smallest change that these readings could have shown, house unit.
        difference: the value is a difference.
    """

    provable: float | None
    difference: bool | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class CardPoint:
    """A point of the road test, as the finding tells it.

    Attributes:
        point: id of the point.
        words: what is needed.
        covered: it was held long enough.
        missing: what to drive; empty when covered.
        forbidden: the safety stop that forbids it; empty otherwise.
    """

    point: str
    words: str
    covered: bool
    missing: str
    forbidden: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadCard(Details):
    """The card of the road test, the most telling points first."""

    card: tuple[CardPoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidShort(Details):
    """A finding that stands among the reasons of a cause in words of its own.

    Attributes:
        short: those words.
        assumptions: what was assumed.
    """

    short: str = ""
    assumptions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class ModelRefused(Details):
    """A physical model that could not use the readings as written."""

    fits: bool | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingsModel(Details):
    """What a physical model of a circuit made of the readings of one stage.

    Attributes:
        short: the finding in a few words.
        fits: the model explains the readings.
        chi_square: misfit.
        chi_square_limit: misfit from which on nothing known explains them.
        effective_samples: effective draws.
        adaptive: further draws were made where the readings lie.
        type_known: the engine's type is known from the shop's own healthy readings.
        uses_tests: tests whose result is used up.
        assumptions: what was assumed.
        level: how much may be said.
        statement: what may be said.
        picture: curves and readings for the picture, pressures in Pa.
        looks_like: (causes, causes, what tells them apart) of parts that read alike.
        conflict: which readings contradict each other, in words; empty where none do.
    """

    short: str = ""
    fits: bool | None = None
    chi_square: float
    chi_square_limit: float
    effective_samples: int | None = None
    adaptive: bool
    type_known: bool | None = None
    uses_tests: tuple[str, ...] | None = None
    assumptions: tuple[str, ...] = ()
    level: str = ""
    statement: str = ""
    picture: Mapping[str, object] | None = field(default=None, metadata=ABSENT)
    looks_like: tuple[tuple[tuple[str, ...], tuple[str, ...], str], ...] = ()
    conflict: str = ""
