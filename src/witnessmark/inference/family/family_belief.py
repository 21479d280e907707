"""What is believed about the causes of one family: exact over every set of causes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from witnessmark.inference.family.family_model import FamilyModel
from witnessmark.inference.family.half_tables import marginals_of
from witnessmark.inference.family.likelihood import Floats, any_in, flattened, how_many
from witnessmark.inference.family.misreading import Reading, trust_of, with_reading
from witnessmark.inference.family.prior import multipliers, prior_states
from witnessmark.inference.family.stage_reports import StageReports
from witnessmark.inference.family.staged_evidence import (
    Clue,
    Stage,
    StagedEvidence,
    likelihoods_of,
    tests_used,
)
from witnessmark.knowledge import Condition, Family, Link, Test
from witnessmark.model.finding import JointSupport, Support
from witnessmark.model.shop_record import History

__all__ = ["Belief", "FamilyModel", "family_belief"]

#: P(complaint gone | nothing is wrong any more): some complaints linger or are not noticed gone.
GONE_IF_HEALTHY = 0.98
#: P(a repair in a linked family dealt with the cause here too | the cause is present); judgement.
CURED_WITH_ITS_TWIN = 0.5
#: P("better, but not gone" | work has cured something and something is left), the same where it
#: cured nothing, where the repaired part itself is still wrong, and where nothing is left;
#: judgement.
PARTLY_IF_CURED, PARTLY_BY_CHANCE, PARTLY_IF_FAILED, PARTLY_IF_HEALTHY = 0.6, 0.06, 0.15, 0.005
#: P(work that names no cause of the family puts it right by the way); judgement.
CURED_BY_THE_WAY = 0.05


@dataclass(frozen=True)
class Belief:
    """Probabilities of all states of one family. Immutable: every step gives a new belief.

    Attributes:
        model: the family's tables.
        start: P(state) at the beginning of the present stage, shape (states,).
        results: test id -> (last result id, the caller's weight) of the present stage.
        readings: test id -> who read what at the present stage.
        extra: likelihood over states of the findings and outcomes of the present stage.
        halved: tests that a finding of the present stage has already used.
        clues: conditions; they describe the truck as it came in.
        share: cause id -> share.
        repaired: causes that were repaired, in order.
        earlier: test id -> (last result before the latest work, share of every state that no
            work has touched since); the same test again mostly says the same again.
        before: what was believed just before the latest work, ``None`` before any.
        heard: whether a word on the complaint came since the latest work.
        read: whether a reading bore on the causes since the latest work; a code only points.
        better: after the word "better, but not gone": share of each state in which the work has
            cured a cause and another is left.
        message: what the other complaints say, a likelihood over states; it is in *extra*.
        pointed: the same of findings that only point, such as trouble codes.
    """

    model: FamilyModel
    start: Floats
    results: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    readings: Mapping[str, tuple[Reading, ...]] = field(default_factory=dict)
    extra: Floats | None = None
    halved: frozenset[str] = frozenset()
    clues: tuple[Clue, ...] = ()
    share: Mapping[str, float] = field(default_factory=dict)
    repaired: tuple[str, ...] = ()
    earlier: Mapping[str, tuple[str, Floats]] = field(default_factory=dict)
    before: Belief | None = None
    message: Floats | None = None
    pointed: Floats | None = None
    heard: bool = False
    read: bool = False
    better: Floats | None = None

    @property
    def causes(self) -> tuple[str, ...]:
        """Return the cause ids, in the order of every array."""
        return self.model.causes

    @cached_property
    def states(self) -> Floats:
        """P(state), shape (2**n + 1,): see :mod:`witnessmark.inference.family.likelihood`."""
        states = self.start if self.extra is None else self.start * self.extra
        return _normal(self.reports.on(states))

    @cached_property
    def reports(self) -> StageReports:
        """The tests recorded at the present stage."""
        weights = self.model.weights(self.said(), self.halved)
        trusts = {}
        for identity, (_, weight) in self.results.items():
            test = self.model.family.test(identity)
            if test is not None:
                trust = trust_of(self.readings[identity])
                part = weight * weights[identity]
                trusts[identity] = flattened(self.model.known(test), trust, part)
        # Clues speak of the truck as it came in.
        clues = () if self.repaired else self.clues
        ratios, hints = self.model.clue_ratios(clues), self.model.clue_hints(clues)
        return StageReports(self.model, trusts, self.earlier, ratios, hints)

    def found(self) -> bool:
        """Say whether anything was tested, measured or renewed: more than words and codes."""
        return bool(self.results or self.read or self.repaired)

    def said(self) -> dict[str, str]:
        """Return test id -> last result of the present stage."""
        return {t: result for t, (result, _) in self.results.items()}

    def marginals(self) -> Floats:
        """Return P(cause present), shape (n,)."""
        return marginals_of(self.states)

    def none_present(self) -> float:
        """Return P(none of the listed causes is present)."""
        return float(self.states[0] + self.states[-1])

    def healthy(self) -> float:
        """Return P(nothing is wrong any more, or never was).

        Above 0 after a repair, and before it where the pack lets the complaint be within normal.
        """
        return float(self.states[0])

    def unlisted(self) -> float:
        """Return P(the complaint has a cause that the packs do not list)."""
        return float(self.states[-1])

    def two_or_more(self) -> float:
        """Return P(two or more listed causes are present)."""
        return float(self.states[how_many(len(self.causes)) >= 2].sum())

    def any_of(self, causes: Sequence[str]) -> float:
        """Return P(at least one of these causes is present)."""
        numbers = [self.model.number[c] for c in causes if c in self.model.number]
        if not numbers:
            return 0.0
        return float(self.states[any_in(len(self.causes), tuple(numbers))].sum())

    def chances(self, test: Test) -> Floats:
        """Return P(result | state) of a test made now, shape (outcomes, states).

        It is misread now and then. Where a test or a clue has reported the same sign, it mostly
        says the same; where it was made before the latest work and that work has changed nothing
        of what it sees, it mostly repeats itself: a result seen twice is not two results.
        """
        return self.reports.chances(test)

    def chances_at(self, test: Test, states: npt.NDArray[np.integer]) -> Floats:
        """Return the same for some states by their numbers, shape (outcomes, states)."""
        return self.reports.chances(test, states)

    def outcome_probabilities(self, test: Test) -> Floats:
        """Return P(result) of a test made now, one number an outcome."""
        if test.id in self.results:
            return np.asarray(self.chances(test) @ self.states)
        return self.reports.weighed(self.states, [test])[0][0]

    def after_test(self, test: Test, outcome: str, weight: float = 1.0, *, by: str = "") -> Belief:
        """Return the belief after a test.

        Args:
            test: a test of the family.
            outcome: an outcome id, ``positive``, ``negative`` or ``maybe``.
            weight: below 1 for a result that is trusted less; its log likelihood ratios are
                scaled by it.
            by: whose reading it is; the same test read by another hand tells more than the same
                hand saying the same again.
        """
        read = with_reading(self.readings.get(test.id, ()), self.model.known(test), outcome, by)
        return replace(
            self,
            results={**self.results, test.id: (outcome, weight)},
            readings={**self.readings, test.id: read},
        )

    def after(
        self,
        support: Support | JointSupport,
        uses: Sequence[str] = (),
        *,
        only_points: bool = False,
    ) -> Belief:
        """Return the belief after a finding.

        Args:
            support: how it bears on the causes.
            uses: tests whose reading the finding has already used; they count half.
            only_points: its weight is judged, as a clue's is.
        """
        factor = self.model.support(support)
        extra = factor if self.extra is None else self.extra * factor
        pointed = self.pointed
        if only_points:
            pointed = factor if pointed is None else _scaled(pointed * factor)
        return replace(
            self,
            extra=_scaled(extra),
            halved=self.halved | set(uses),
            pointed=pointed,
            read=self.read or not only_points,
        )

    def after_repair(self, cause: str, cured: bool | None) -> Belief:
        """Return the belief after a repair: what was seen before speaks of the old part.

        Args:
            cause: the cause that was dealt with. One of another family may have dealt with the
                causes here that are linked to it, and any work may cure by the way.
            cured: the word on the complaint afterwards, ``None`` while nobody has looked.
        """
        states = self.states
        number = self.model.number.get(cause)
        if number is not None:
            touched = [number]
            states = _repaired(states, number, self.failed_repair(cause))
        else:
            touched = self.model.twins(cause)
            for twin in touched:
                states = _repaired(states, twin, 1.0 - CURED_WITH_ITS_TWIN)
            states = (1.0 - CURED_BY_THE_WAY) * states
            states[0] += CURED_BY_THE_WAY
        untouched = self._untouched(touched, states)
        # Tests recorded at one stage share one array.
        since = {id(u): u * untouched for _, u in self.earlier.values()}
        earlier = {t: (r, since[id(u)]) for t, (r, u) in self.earlier.items()}
        earlier |= {t: (r, untouched) for t, (r, _) in self.results.items()}
        after = Belief(
            model=self.model,
            start=states,
            clues=self.clues,
            share=self.share,
            repaired=(*self.repaired, cause),
            earlier=earlier,
            before=self,
        )
        return after if cured is None else after.after_outcome(cured)

    def after_outcome(self, gone: bool) -> Belief:
        """Return the belief after the word that the complaint is gone, or is not gone."""
        record = self.model.family.cause(self.repaired[-1]) if self.repaired else None
        by_chance = record.p_cured_if_not if record is not None else 0.03
        factor = np.full(self.start.shape, by_chance if gone else 1.0 - by_chance)
        factor[0] = GONE_IF_HEALTHY if gone else 1.0 - GONE_IF_HEALTHY
        extra = factor if self.extra is None else self.extra * factor
        return replace(self, extra=extra, heard=True, better=None)

    def after_better(self) -> Belief:
        """Return the belief after the word that the complaint is better, but not gone.

        That is evidence of its own: likely where the work cured one of several causes, unlikely
        where it cured nothing.
        """
        cured = self._cured_share()
        last = self.model.number.get(self.repaired[-1]) if self.repaired else None
        chance = np.full(self.start.shape, PARTLY_BY_CHANCE)
        if last is not None:
            chance = np.where(self.model.present[last] > 0.5, PARTLY_IF_FAILED, chance)
        factor = cured * PARTLY_IF_CURED + (1.0 - cured) * chance
        factor[0] = PARTLY_IF_HEALTHY
        extra = factor if self.extra is None else self.extra * factor
        better = cured * PARTLY_IF_CURED / factor
        better[0] = 0.0
        return replace(self, extra=extra, heard=True, better=better)

    def one_cured(self) -> float:
        """Return P(the latest work cured one cause and left another); 0 unless it got better."""
        return 0.0 if self.better is None else float(self.states @ self.better)

    def _cured_share(self) -> Floats:
        """Return the share of each state in which work since the last word has cured a cause."""
        chain: list[Belief] = []
        step: Belief | None = self
        while step is not None and step.before is not None:
            chain.append(step)
            step = step.before if not step.before.heard else None
        cured = np.zeros_like(self.start)
        for step in reversed(chain):
            before = step.before or step
            number = self.model.number.get(step.repaired[-1])
            numbers = self.model.twins(step.repaired[-1]) if number is None else [number]
            done, left = before.states * cured, before.states * (1.0 - cured)
            for each in numbers:
                failed = 1.0 - CURED_WITH_ITS_TWIN
                if number is not None:
                    failed = before.failed_repair(step.repaired[-1])
                faulty = self.model.present[each]
                after = _repaired(left * faulty, each, failed)
                done = _repaired(done, each, failed) + after * (1.0 - faulty)
                left = left * (1.0 - faulty) + after * faulty
            cured = done / np.maximum(done + left, 1e-300)
        return cured

    def reweighted(self, factor: Floats) -> Belief:
        """Return the belief after what the other complaints say, a likelihood over states."""
        extra = factor if self.extra is None else self.extra * factor
        message = factor if self.message is None else self.message * factor
        return replace(self, extra=_scaled(extra), message=_scaled(message))

    def all_results(self, tests: Sequence[Test]) -> list[tuple[Floats, Floats]]:
        """Return, for each test made now, (P(outcome), P(cause present | outcome)).

        The second has shape (outcomes, causes). One pass over all tests; a test that shares a
        symptom with a recorded one is weighed as :meth:`after_test` would weigh it.
        """
        free = [t for t in tests if not self._bound(t)]
        sums = self.reports.weighed(self.states, free)
        weighed = dict(zip([t.id for t in free], sums, strict=True))
        found = []
        for test in tests:
            if test.id in weighed:
                total, joint = weighed[test.id]
                after = joint / np.maximum(total, 1e-300)[:, None]
            else:
                total = self.outcome_probabilities(test)
                after = np.asarray([self.after_test(test, o).marginals() for o in test.outcomes])
            found.append((total, after))
        return found

    def _bound(self, test: Test) -> bool:
        """Whether a result of the test would not count whole, or would change another's weight."""
        if test.id in self.results or test.id in self.halved:
            return True
        beside = self.model.beside
        return any(o in beside.get(test.id, ()) or test.id in beside.get(o, ())
                   for o in self.results)  # fmt: skip

    def _untouched(self, touched: Sequence[int], after: Floats) -> Floats:
        """Return the share of each state *after* some work that was the same state before it."""
        same = ~any_in(len(self.causes), tuple(touched))
        kept = np.where(same, np.minimum(self.states, after), 0.0)
        return np.asarray(kept / np.maximum(after, 1e-300))

    def failed_repair(self, cause: str) -> float:
        """Return P(a cause is still there | it was there and was dealt with)."""
        record = self.model.family.cause(cause)
        cured = record.p_cured_if_cause if record is not None else GONE_IF_HEALTHY
        return min(max(1.0 - cured / GONE_IF_HEALTHY, 0.01), 0.99)


def family_belief(
    family: Family,
    evidence: StagedEvidence,
    history: History | None = None,
    *,
    conditions: Mapping[str, Condition] | None = None,
    links: Sequence[Link] = (),
    model: FamilyModel | None = None,
) -> Belief:
    """Return the belief of a family after all evidence of a case.

    Args:
        family: the family.
        evidence: clues, tests, findings, work and outcomes by stage.
        history: the shop's own closings.
        conditions: the packs' conditions; needed as soon as there are clues.
        links: the packs' links; they matter when work was done in another family.
        model: the family made ready, to spare making it again; it brings its own history.
    """
    model = model or FamilyModel(family, conditions, history, links)
    product = multipliers(family.causes, evidence.clues, model.conditions)
    start = prior_states(family, model.share, product)
    if family.nothing_wrong > 0.0 and _measured(family, evidence):
        # only what was measured can tell a healthy truck: until then the complaint is believed
        start *= 1.0 - family.nothing_wrong
        start[0] = family.nothing_wrong
    belief = Belief(
        model=model,
        start=start,
        clues=evidence.clues,
        share=model.share,
    )
    for stage in evidence.stages:
        belief = _stage(belief, stage)
    return belief


def _measured(family: Family, evidence: StagedEvidence) -> bool:
    """Say whether a physical model has spoken of the truck as it came in."""
    return any(
        isinstance(support, JointSupport)
        for stage in evidence.stages[:1]
        for finding in stage.findings
        for support in likelihoods_of(finding, family.id)
    )


def _stage(belief: Belief, stage: Stage) -> Belief:
    if stage.work is not None:
        belief = belief.after_repair(stage.work.cause, None)
    for test in stage.tests:
        record = belief.model.family.test(test.test)
        if record is not None:
            belief = belief.after_test(record, test.result, by=test.by)
    for finding in stage.findings:
        for support in likelihoods_of(finding, belief.model.family.id):
            points = finding.details.only_points
            belief = belief.after(support, uses=tests_used(finding), only_points=points)
    # The last word counts: what was gone for a day and came back is not gone.
    for outcome in stage.outcomes[-1:]:
        belief = belief.after_better() if outcome.partly else belief.after_outcome(outcome.gone)
    return belief


def _repaired(states: Floats, number: int, failed: float) -> Floats:
    """Return P(state) after a cause was dealt with; with probability *failed* it is still there."""
    n = (len(states) - 1).bit_length() - 1
    sets = states[:-1].reshape(2 ** (n - 1 - number), 2, 2**number)
    after = np.empty_like(sets)
    after[:, 0] = sets[:, 0] + (1.0 - failed) * sets[:, 1]
    after[:, 1] = failed * sets[:, 1]
    return np.append(after.reshape(-1), states[-1])


def _normal(states: Floats) -> Floats:
    total = states.sum()
    if not total > 0.0:
        raise FloatingPointError("the evidence is impossible under every state")
    states /= total
    return states


def _scaled(factor: Floats) -> Floats:
    top = factor.max()
    return np.asarray(factor / top) if top > 0.0 else factor
