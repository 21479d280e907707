"""What the truck's state allows: what cannot be done in it is not offered.

Common practice, no source. Safety stops forbid by :func:`witnessmark.model.step.forbidden_by`;
here it is only what would not work.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from witnessmark.knowledge.causes_and_tests import StepRules
from witnessmark.planner.order.facts import Facts
from witnessmark.planner.order.stop_rules import holds

__all__ = ["cannot_be_done", "offered"]

_RUNS = frozenset({"running", "warm", "load", "road"})
#: State -> what cannot be had in it. A derated truck still rolls, but nothing is measured under a
#: pull that it cannot make.
_WITHOUT = {
    "no_crank": _RUNS | {"cranking"},
    "no_start": _RUNS,
    "crawl": frozenset({"load", "road"}),
    "no_air": frozenset({"road"}),
    "not_to_be_driven": frozenset({"road"}),
    "told_to_stay": frozenset({"road"}),
}


def cannot_be_done(demands: Iterable[str], rules: StepRules, states: Collection[str]) -> bool:
    """Say whether a state of the truck rules a step out.

    Args:
        demands: what doing it takes.
        rules: its pack's rules; ``possible_in`` names the states in which it can be done although
            its demands say otherwise.
        states: what the truck brought.
    """
    wants = set(demands)
    fine = rules.possible_in or ()
    return any(wants & _WITHOUT[state] for state in states if state not in fine)


def offered(
    demands: Iterable[str], rules: StepRules, states: Collection[str], facts: Facts
) -> bool:
    """Say whether a step is offered: its state allows it, and none of its ``not_if`` holds."""
    if cannot_be_done(demands, rules, states):
        return False
    return not any(holds(asked, facts) for asked in rules.not_if)
