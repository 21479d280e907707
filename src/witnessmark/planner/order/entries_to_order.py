"""The steps of one answer while they are put in order: what each is, and what it waits for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from witnessmark.knowledge import Cause, Test
from witnessmark.knowledge.causes_and_tests import StepRules
from witnessmark.model.settings import Settings
from witnessmark.model.step import Step, forbidden_by
from witnessmark.planner.order.brought_in import BroughtIn
from witnessmark.planner.order.facts import Facts
from witnessmark.planner.order.open_complaint import OpenComplaint
from witnessmark.planner.order.ranks import Rank, rank_of
from witnessmark.planner.order.truck_state import offered
from witnessmark.planner.ranking.costs import step_usd

__all__ = ["Listed", "Placed"]


@dataclass(slots=True)
class Placed:
    """One step with its rank, what is said of its place, and the steps that it waits for."""

    step: Step
    bench: OpenComplaint
    rank: Rank
    test: Test | None = None
    cause: Cause | None = None
    because: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)

    @property
    def rules(self) -> StepRules:
        """What its pack says of how it is done."""
        record = self.test or self.cause
        return record.rules if record is not None else StepRules()

    @property
    def is_repair(self) -> bool:
        """Whether a part is put right, not looked at."""
        return self.step.kind == "repair"

    def price(self, settings: Settings) -> float:
        """Return what doing it costs by itself [USD], without the drive that proves it."""
        needs = () if self.is_repair else self.step.needs
        return step_usd(self.step.minutes, self.step.usd, needs, settings)

    def says(self, why: str) -> None:
        """Let a sentence stand with it, once."""
        if why and why not in self.because and why not in self.step.why:
            self.because.append(why)

    def told(self) -> Step:
        """Return the step with what is said of its place."""
        why = " ".join((self.step.why, *self.because)).strip()
        return replace(self.step, why=why) if self.because else self.step


class Listed:
    """The steps that may be done, by id; what may not is never in it."""

    def __init__(
        self,
        stops: Sequence[Step],
        brought: BroughtIn,
        facts: Facts,
        benches: Sequence[OpenComplaint],
        settings: Settings,
    ) -> None:
        """Begin with nothing listed.

        Args:
            stops: safety stops that stand.
            brought: what the truck brought.
            facts: everything that is known.
            benches: the open complaints.
            settings: the shop's rates.
        """
        self.stops, self.brought, self.facts, self.settings = stops, brought, facts, settings
        self.benches = {bench.family.id: bench for bench in benches}
        self._placed: dict[str, Placed] = {}
        self._cheapest: dict[str, float] = {}
        self.held_back: set[str] = set()

    def __iter__(self) -> Iterator[Placed]:
        """Go through what is listed, in the order in which it came."""
        return iter(tuple(self._placed.values()))

    def __contains__(self, step: str) -> bool:
        """Say whether a step is listed."""
        return step in self._placed

    def get(self, step: str) -> Placed | None:
        """Return a listed step."""
        return self._placed.get(step)

    def of(self, bench: OpenComplaint) -> list[Placed]:
        """Return the listed steps of one complaint."""
        return [p for p in self if p.bench is bench]

    def drop(self, step: str) -> None:
        """Take a step off the list."""
        self._placed.pop(step, None)

    def add(self, step: Step) -> Placed | None:
        """List a step if it may be done; offer what its pack names instead where it may not.

        Returns:
            The listed step, ``None`` where a stop, the truck's state or its ``not_if`` forbids it.
        """
        bench = self.benches[step.family]
        test, cause = bench.family.test(step.step), bench.family.cause(step.step)
        placed = Placed(step, bench, rank_of(step, test), test, cause)
        barred = forbidden_by(self.stops, step.step, step.demands) is not None
        search = test is None and cause is None
        states = frozenset[str]() if search else self.brought.states
        if barred or not offered(step.demands, placed.rules, states, self.facts):
            if barred and not placed.is_repair:
                self.held_back.add(step.family)
            for other in placed.rules.instead:
                self.offer(bench, other)
            return None
        family = step.family
        self._cheapest[family] = min(
            step.expected_total_usd, self._cheapest.get(family, step.expected_total_usd)
        )
        return self._placed.setdefault(step.step, placed)

    def offer(self, bench: OpenComplaint, test: str, why: str = "") -> Placed | None:
        """List a test or a measurement of a complaint although its figure alone would not.

        Returns:
            The listed step, ``None`` where it was made, is unknown or may not be done.
        """
        if test in self._placed:
            self._placed[test].says(why)
            return self._placed[test]
        if test in bench.done or test not in bench.looks:
            return None
        step = bench.looks[test]
        before = self._cheapest.get(bench.family.id, step.expected_total_usd)
        own = step_usd(step.minutes, step.usd, step.needs, self.settings)
        step = replace(step, expected_total_usd=min(step.expected_total_usd, before + own))
        barred = forbidden_by(self.stops, step.step, step.demands) is not None
        known = bench.family.test(test)
        rules = known.rules if known is not None else StepRules()
        if barred or not offered(step.demands, rules, self.brought.states, self.facts):
            if barred:
                self.held_back.add(bench.family.id)
            return None
        placed = Placed(step, bench, rank_of(step, known), known)
        placed.says(why)
        self._placed[test] = placed
        return placed

    def cheapest(self, bench: OpenComplaint) -> float:
        """Return the lowest figure of a complaint's steps."""
        return min((p.step.expected_total_usd for p in self.of(bench)), default=0.0)

    def prices(self) -> Mapping[str, float]:
        """Return what each listed step costs by itself [USD]."""
        return {p.step.step: p.price(self.settings) for p in self}
