"""Why a step is proposed, in one or two plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.knowledge import Cause, Test
from witnessmark.model.candidate import Candidate
from witnessmark.model.step import Result
from witnessmark.planner.ranking.pricing import Plan
from witnessmark.planner.ranking.serve_both import Along
from witnessmark.words.numbers import chance_words

__all__ = ["dearer", "repair_name", "why_remeasure", "why_repair", "why_search", "why_test"]


def why_test(plan: Plan, test: Test | Candidate, results: Sequence[Result], price: float) -> str:
    """Say what a test would decide and what it saves."""
    saves = plan.without_test - price
    likely = sorted(results, key=lambda r: -r.probability)
    parts = [
        f"if {outcome_words(test, r.result)} ({chance_words(r.probability)}), {_lead(plan, r)}"
        for r in likely[:2]
    ]
    if saves >= 1:
        head = f"It lowers the expected total by {saves:,.0f} USD"
    else:
        head = "None of the listed causes explains this well, so another reading comes first"
    own = f" {test.why}" if isinstance(test, Candidate) and test.why else ""
    tail = "; ".join(parts)
    return f"{head}. {tail[:1].upper()}{tail[1:]}.{own}"


def why_repair(
    plan: Plan,
    number: int,
    results: Sequence[Result],
    along: Along | None,
    also: Sequence[str],
) -> str:
    """Say how likely a repair cures, what it costs, and what its failure would teach."""
    identity = plan.table.causes[number]
    marginal = float(plan.table.weights @ plan.table.members[:, number])
    cost = float(plan.problem.repair_usd[number])
    cured = results[0].probability
    text = (
        f"{_name(plan, identity)} stands at {chance_words(marginal)}; renewing it and measuring "
        f"again costs about {cost:,.0f} USD and cures with {chance_words(cured)}. "
        f"If it does not: {_lead(plan, results[1])}."
    )
    if identity in plan.told:
        text += f" Its figures: {plan.told[identity]}."
    if along is not None:
        text += (
            f" While you are in there ({along.group}) do {along.name.lower()} too: that saves "
            f"about {along.saves:,.0f} USD."
        )
    if also:
        text += f" It serves {' and '.join(a.replace('_', ' ') for a in also)} as well."
    return text


def why_search(plan: Plan) -> str:
    """Say why nothing listed is proposed."""
    none = plan.state.belief.none_present()
    return (
        f"None of the listed causes is present with a chance of {chance_words(none)}. "
        "Prove the readings first, then look beyond the list."
    )


def why_remeasure(plan: Plan, work: str) -> str:
    """Say why the same points are measured before anything else."""
    if work:
        return (
            f"Nothing was measured since the work ({work}). One change at a time, then measure: "
            "only that shows whether it cured anything."
        )
    healthy = plan.state.belief.healthy()
    return (
        f"The complaint is gone with a chance of {chance_words(healthy)} by what is known. Measure "
        "the same points as before and ask the driver: that is the proof, and no more parts are "
        "needed before it."
    )


def dearer(usd: float) -> str:
    """Say what taking a step first costs more than the best one."""
    return f"Taking it first costs about {usd:,.0f} USD more." if usd >= 1 else ""


def repair_name(cause: Cause, *, again: bool = False) -> str:
    """Return the name of the repair of a cause; what is on no list is searched, not renewed."""
    if cause.id.endswith("_other"):
        return "Search openly for what is not on the list, one thing at a time"
    return f"Check the repair made: {cause.name}" if again else f"Repair: {cause.name}"


def outcome_words(test: Test | Candidate, result: str) -> str:
    """Return an outcome in words."""
    if isinstance(test, Candidate):
        return next((o.words for o in test.outcomes if o.result == result), result)
    return test.outcome_words.get(result) or result.replace("_", " ")


def _lead(plan: Plan, result: Result) -> str:
    if not result.leads:
        return "nothing listed is left"
    cause, probability = result.leads[0]
    return f"{_name(plan, cause)} leads with {chance_words(probability)}"


def _name(plan: Plan, identity: str) -> str:
    cause = plan.state.family.cause(identity)
    return cause.name if cause else identity
