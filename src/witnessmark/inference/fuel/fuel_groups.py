"""What can be at fault in the fuel supply circuit, and which causes look the same to the physics.

Causes that act through one physical parameter form one group; no pressure, flow or vacuum
reading can split a group, so the model speaks of groups and the pack's priors, clues and tests
speak of the causes inside them:

- suction: plugged primary filter, collapsed suction line, blocked tank vent or gelled fuel all
  raise the restriction before the pump;
- filter: plugged secondary filter and any other restriction between pump and gallery;
- pump: worn gears and a slipping drive both lose delivery inside the pump;
- other: gas past an injector seat and everything undetermined has no equation here; its
  likelihood is a wide one (see ``fuel_posterior``), so it wins only where nothing else fits.

How common each fault is rests on memory alone, so its say is cut down: see ``HUMILITY``.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from witnessmark.words.say.fuel import GROUP_WORDS

__all__ = [
    "AIR",
    "FAMILY",
    "FILTER",
    "GAUGE",
    "GROUPS",
    "HUMILITY",
    "HYPOTHESES",
    "LEAK",
    "MODELLED",
    "OTHER",
    "PUMP",
    "RELIEF",
    "RETURN",
    "SIGHT",
    "SUCTION",
    "TESTS_USED",
    "TOGETHER",
    "ZONES",
    "FuelGroup",
    "group_of",
]

FAMILY = "fuel_low"
RELIEF, RETURN, FILTER, PUMP, SUCTION, AIR, LEAK, GAUGE, OTHER = range(9)

#: Part of the weight of the judged shares that is given to all parts of the circuit alike: as much
#: to knowing nothing as to memory. Two rough memories of these shares place 0.23 of the weight
#: differently, so a quarter is the least, and both may be wrong. With a half, the calibration error
#: stays below 0.05 where the shares are quite reversed (2,500 engines drawn for this, not those of
#: the study). The gauge is no part of the circuit and keeps its share. What this costs where the
#: judged shares hold stands in studies/fuel_supply/RESULTS.md.
HUMILITY = 0.5
#: Zones that hold no part of the circuit.
_NO_PART = {"gauge", "other"}


@dataclass(frozen=True, slots=True)
class FuelGroup:
    """Causes that share one physical parameter.

    Attributes:
        key: short name.
        causes: cause ids of the pack.
        name: in words.
        zone: zone it belongs to.
        judged: share among single faults as remembered (assumed, no source).
    """

    key: str
    causes: tuple[str, ...]
    name: str
    zone: str
    judged: float

    @property
    def share(self) -> float:
        """Prior share among single faults: the judged one, in the circuit drawn towards equal."""
        if self.zone in _NO_PART:
            return self.judged
        parts = [g.judged for g in GROUPS if g.zone not in _NO_PART]
        return (1.0 - HUMILITY) * self.judged + HUMILITY * sum(parts) / len(parts)


def _group(key: str, causes: tuple[str, ...], zone: str, judged: float) -> FuelGroup:
    return FuelGroup(key, causes, GROUP_WORDS[key], zone, judged)


GROUPS: tuple[FuelGroup, ...] = (
    _group("relief", ("pump_relief",), "supply", 0.20),
    _group("return", ("return_regulator",), "return", 0.20),
    _group("filter", ("secondary_filter", "supply_restrict"), "filter", 0.18),
    _group("pump", ("pump_worn", "pump_drive"), "supply", 0.12),
    _group("suction", ("primary_filter", "suction_line", "tank_vent_fuel"), "suction", 0.10),
    _group("air", ("air_ingress",), "suction", 0.10),
    _group("leak", ("gallery_leak",), "return", 0.05),
    _group("gauge", ("fuel_gauge_err",), "gauge", 0.05),
    _group("other", ("comb_gas_fuel", "fuel_other"), "other", 0.03),
)
MODELLED = tuple(range(8))
ZONES = ("supply", "return", "filter", "suction", "gauge", "other")

#: Nothing, the eight modelled groups alone, their pairs, and "other".
HYPOTHESES: tuple[frozenset[int], ...] = (
    frozenset(),
    *(frozenset((g,)) for g in MODELLED),
    *(frozenset(pair) for pair in combinations(MODELLED, 2)),
    frozenset((OTHER,)),
)


#: Pairs found together more often than chance would have it: factor on the odds of both. The
#: pack's figure, for studies without a pack (judgement, no source). A larger one makes two low
#: pressures surer of the two valves than they can be where the shares are wrong.
TOGETHER: dict[frozenset[int], float] = {frozenset((RELIEF, RETURN)): 4.0}


#: Pack tests that look at what a reading of this quantity has already said; they count half
#: beside it.
TESTS_USED: dict[str, tuple[str, ...]] = {
    "fuel_return_flow": ("f_return",),
    "fuel_gallery_pressure_return_throttled": ("f_block",),
    "fuel_prefilter_pressure": ("f_dp",),
    "fuel_suction_vacuum": ("f_vac", "f_vac_low"),
    "gauge_check_difference": ("f_mech",),
}
#: The look at the clear hose, whose bubbles shape the model's own weights.
SIGHT = "f_sight"


def group_of(cause: str) -> int | None:
    """Return the group of a cause id, ``None`` where the circuit has no part of it."""
    return next((i for i, g in enumerate(GROUPS) if cause in g.causes), None)
