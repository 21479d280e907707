"""Which sentences say why a step is proposed; the sentences themselves stand in words/."""

from __future__ import annotations

from collections.abc import Sequence

from witnessmark.knowledge import Cause, Test
from witnessmark.model.candidate import Candidate
from witnessmark.model.step import Result
from witnessmark.planner.ranking.pricing import Plan
from witnessmark.planner.ranking.serve_both import Along
from witnessmark.words.say import steps as say
from witnessmark.words.strength import how_sure

__all__ = [
    "dearer",
    "repair_name",
    "result_means",
    "why_remeasure",
    "why_repair",
    "why_test",
]


def why_test(
    plan: Plan, test: Test | Candidate, results: Sequence[Result], *, unexplained: bool
) -> str:
    """Say which faults a test parts; what each result would mean stands with the result."""
    likely = sorted(results, key=lambda r: -r.probability)[:2]
    led = [_lead(plan, r) for r in likely]
    apart = len(led) > 1 and led[0] and led[1] and led[0] != led[1]
    said = [say.parts(led[0], led[1])] if apart else []
    if unexplained:
        said = [say.nothing_fits()]
    elif not said and led and led[0]:
        said = [say.bears_out(led[0])]
    own = [test.why] if isinstance(test, Candidate) and test.why else []
    return " ".join([*said, *own])


def result_means(
    plan: Plan, test: Test | Candidate, result: str, leads: Sequence[tuple[str, float]]
) -> tuple[str, str]:
    """Return a result in words, and the sentence that says what it would make us think."""
    seen = outcome_words(test, result)
    return seen, say.think(seen, _name(plan, leads[0][0]) if leads else "")


def why_repair(
    plan: Plan,
    number: int,
    results: Sequence[Result],
    along: Along | None,
    also: Sequence[str],
) -> str:
    """Say how sure a cause is, what its repair costs, and what to think if that is not it."""
    identity = plan.table.causes[number]
    marginal = float(plan.chances[number])
    leads = results[1].leads
    said = [
        say.repair_stands(how_sure(marginal, tested=False), _name(plan, identity)),
        say.repair_doubted()
        if leads and leads[0][0] == identity
        else say.repair_fails(_lead(plan, results[1])),
    ]
    if identity in plan.told:
        said.append(say.repair_figures(plan.told[identity]))
    if along is not None:
        said.append(say.while_in_there(along.group, along.name, along.saves))
    if also:
        said.append(say.serves([a.replace("_", " ") for a in also]))
    return " ".join(said)


def why_remeasure(work: str, *, unread: bool = False, came_in: bool = False) -> str:
    """Say why the same points are measured before anything else.

    Args:
        work: entry of the work that nothing was measured after, empty for none.
        unread: something else was read or tested since, the same points were not.
        came_in: nothing was repaired yet.
    """
    if work:
        return say.unmeasured(work)
    if unread:
        return say.unread()
    return say.perhaps_normal() if came_in else say.probably_cured()


def dearer(usd: float) -> str:
    """Say what taking a step first costs more than the best one."""
    return say.dearer(usd) if usd >= 1 else ""


def repair_name(cause: Cause, *, again: bool = False) -> str:
    """Return the name of the repair of a cause; what is on no list is searched, not renewed."""
    if cause.id.endswith("_other"):
        return say.search_unlisted()
    return say.repair_again(cause.name) if again else say.repair_name(cause.name)


def outcome_words(test: Test | Candidate, result: str) -> str:
    """Return an outcome in words."""
    if isinstance(test, Candidate):
        return next((o.words for o in test.outcomes if o.result == result), result)
    return test.outcome_words.get(result) or say.result_words(result)


def _lead(plan: Plan, result: Result) -> str:
    """Return what leads after a result, empty where nothing listed is left."""
    return _name(plan, result.leads[0][0]) if result.leads else ""


def _name(plan: Plan, identity: str) -> str:
    cause = plan.state.family.cause(identity)
    return cause.name if cause else identity
