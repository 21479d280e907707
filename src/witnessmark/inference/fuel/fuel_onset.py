"""How the trouble began, as evidence: suddenly, or slowly over weeks.

A seat is held open by a sliver, a spring breaks, a hose is changed: that begins within a day.
Gears wear and filters fill over weeks. What the driver tells of it splits a leaking relief valve
from a worn pump, which no gauge does. The chances below are judgement (no source); they are close
to one another on purpose, for drivers notice slow things suddenly.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from witnessmark.inference.fuel.fuel_groups import FAMILY, GROUPS
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ClueData
from witnessmark.model.finding import Evidence, Finding, Support
from witnessmark.model.problem import Problem

__all__ = ["BEGAN", "SUDDENLY", "group_factors", "onset_finding", "onset_of"]

#: P(it came on suddenly) whatever the cause, and given each cause. Judgement, no source.
BEGAN = 0.30
SUDDENLY: dict[str, float] = {
    "pump_relief": 0.40, "return_regulator": 0.35, "secondary_filter": 0.12,
    "supply_restrict": 0.35, "pump_worn": 0.08, "primary_filter": 0.12, "suction_line": 0.35,
    "tank_vent_fuel": 0.35, "air_ingress": 0.40, "gallery_leak": 0.25, "fuel_gauge_err": 0.50,
}  # fmt: skip
_CODE, _METHOD = "fuel_onset", "fuel_onset/1"
_SOURCE = (
    "Judgement, no source: how often each fault begins suddenly is assumed until the shop has its "
    "own history."
)


def onset_of(case: Case) -> tuple[bool | None, tuple[str, ...], tuple[Problem, ...]]:
    """Return (suddenly?, entries it rests on, problems) of a case; ``None``: not known.

    ``sudden`` true is sudden; ``sudden`` false and ``gradual`` true are slow. ``gradual`` false
    alone says nothing, nor does "maybe". What is written last of each counts.
    """
    told: dict[str, tuple[str, bool | str]] = {}
    for entry, data in case.of(ClueData):
        if data.clue in {"sudden", "gradual"}:
            told[data.clue] = (entry.id, data.seen)
    sudden, gradual = told.get("sudden"), told.get("gradual")
    entries = tuple(t[0] for t in (sudden, gradual) if t is not None)
    if sudden is not None and gradual is not None and sudden[1] is gradual[1] is True:
        problem = Problem(
            ", ".join(entries),
            "It cannot have come on suddenly and slowly over weeks.",
            "Ask the driver once more and retract one of the two; neither counts in the fuel "
            "model now.",
        )
        return None, (), (problem,)
    if sudden is not None and sudden[1] is True:
        return True, (sudden[0],), ()
    if sudden is not None and sudden[1] is False:
        return False, entries, ()
    if gradual is not None and gradual[1] is True:
        return False, (gradual[0],), ()
    return None, (), ()


def factor(cause: str, suddenly: bool) -> float:
    """Return P(this onset | cause) over P(this onset whatever the cause)."""
    chance = SUDDENLY.get(cause, BEGAN)
    return chance / BEGAN if suddenly else (1.0 - chance) / (1.0 - BEGAN)


def group_factors(suddenly: bool | None, shares: Mapping[str, float]) -> list[float]:
    """Return the factor on the share of every group, from the shares of its causes."""
    if suddenly is None:
        return [1.0] * len(GROUPS)
    found = []
    for group in GROUPS:
        weight = np.array([max(shares.get(c, 1.0), 1e-9) for c in group.causes])
        each = np.array([factor(c, suddenly) for c in group.causes])
        found.append(float(weight @ each / weight.sum()))
    return found


def onset_finding(suddenly: bool | None, entries: tuple[str, ...]) -> tuple[Finding, ...]:
    """Return what the onset says of the causes; nothing where it is not known."""
    if suddenly is None:
        return ()
    words = "suddenly" if suddenly else "slowly"
    side = (
        "more like a valve held open, air or a gauge than like wear or a full filter"
        if suddenly
        else "more like wear or a filling filter than like a valve held open, air or a gauge"
    )
    return (
        Finding(
            code=_CODE,
            sentence=f"The low pressure came on {words}: {side}.",
            outcome="seen",
            method=_METHOD,
            evidence=Evidence(entries=entries),
            source=_SOURCE,
            support=(Support(FAMILY, {c: float(np.log(factor(c, suddenly))) for c in SUDDENLY}),),
            details={"short": f"the trouble came on {words}", "assumptions": (_SOURCE,)},
        ),
    )
