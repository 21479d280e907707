"""The records of a family's causes, its tests and the conditions that clues refer to."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

from witnessmark.knowledge.bands import Source
from witnessmark.knowledge.rules import Asked, LookFirst, StepState, Yield
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.step import Spread

__all__ = ["Cause", "Condition", "ReadingRule", "StepRules", "Test"]

#: Ids that mean "something was found" in a test with more than one way of being positive.
POSITIVE, NEGATIVE = "positive", "negative"


@dataclass(frozen=True, slots=True)
class Condition:
    """Something known about the truck that raises or lowers the odds of some causes.

    Attributes:
        id: clue id.
        words: what it means.
        part_scoped: it speaks of one part and counts for the cause whose part it is.
        base_rate: how often it is true on trucks without that cause; from it follows what
            "looked, and it is not so" is worth.
        source: where the numbers come from.
        overlapped_by: tests that see the same thing; what both say counts once.
        miles_over: true of itself on a truck with more miles than this.
        hours_over: true of itself on an engine with more hours than this.
        fact: a fact of the truck or the place that stops ask for.
        ask: the question to put.
        touched: something was just opened, fitted, filled or charged.
        truck_state: the state that it puts the truck in; empty for none.
        after_work: causes after whose repair it is true of itself.
        cold_reading: quantity: true of itself while that was read cold only; empty for none.
        vehicles: true of itself on a vehicle of one of these kinds.
    """

    id: str
    words: str
    part_scoped: bool
    base_rate: float
    source: Source
    overlapped_by: tuple[str, ...] = ()
    miles_over: float | None = None
    hours_over: float | None = None
    fact: bool = False
    ask: str = ""
    touched: bool = False
    truck_state: str = ""
    after_work: tuple[str, ...] = ()
    cold_reading: str = ""
    vehicles: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class StepRules:
    """What a pack says of how a test or a repair is done.

    Attributes:
        state: the state it needs; ``None`` where the pack does not say.
        cautions: ids of the caution library.
        no_caution: why it needs none.
        opens: access group that lies open afterwards.
        possible_in: states of the truck in which it can be done all the same; ``None``: not said.
        not_if: conditions under any of which it is not offered.
        instead: tests to offer in its place then.
        do_first: tests that come before it.
        say: a hint that stands with it.
    """

    state: StepState | None = None
    cautions: tuple[str, ...] = ()
    no_caution: str = ""
    opens: str = ""
    possible_in: tuple[str, ...] | None = None
    not_if: tuple[Asked, ...] = ()
    instead: tuple[str, ...] = ()
    do_first: tuple[str, ...] = ()
    say: str = ""


@dataclass(frozen=True, slots=True)
class Cause:
    """One possible cause of a complaint.

    Attributes:
        id: cause id, unique over all families.
        name: in words.
        zone: zone id within the family.
        prior: share of this cause among the family's cases with one cause; they sum to 1.
        odds_multipliers: condition id -> factor on its odds when the condition is true.
        access: 1 (hood up) to 5 (engine, transmission or head out).
        minutes: hands-on time of the repair.
        parts_usd: parts.
        renew_with: seals, gaskets and fasteners that go with it.
        p_cured_if_cause: P(complaint gone and stays gone | this was the cause, repaired).
        p_cured_if_not: the same if it was not the cause.
        damage_risk: what the repair can damage.
        caution: what can hurt, beyond the family's own caution.
        proof: what to measure again.
        access_group: repairs and tests with the same group share the disassembly.
        source: where the numbers come from.
        rules: state, cautions, what comes first.
        kind: renew, adjust, clean or strip; empty where the pack does not say.
        look_first: looks before it is renewed.
        belongs_to: family whose matter it is, when it is a complaint of its own.
        damages: causes that it makes again unless it is dealt with first.
        damages_words: what else it damages.
        shown_by: tests that show it by being positive.
        look_after: tests and causes to look at once before the truck leaves.
        look_after_words: the same in words.
        renew_usd: what goes with it -> its price, and of what.
        modelled_by: the physical model that speaks of it.
        customer: what the customer should know of it.
    """

    id: str
    name: str
    zone: str
    prior: float
    odds_multipliers: Mapping[str, float]
    access: Spread
    minutes: Spread
    parts_usd: Spread
    renew_with: tuple[str, ...]
    p_cured_if_cause: float
    p_cured_if_not: float
    damage_risk: str
    caution: str
    proof: str
    access_group: str
    source: Source
    rules: StepRules = StepRules()
    kind: str = ""
    look_first: tuple[LookFirst, ...] = ()
    belongs_to: str = ""
    damages: tuple[str, ...] = ()
    damages_words: str = ""
    shown_by: tuple[str, ...] = ()
    look_after: tuple[str, ...] = ()
    look_after_words: str = ""
    renew_usd: Mapping[str, tuple[Spread, str]] = field(default_factory=dict)
    modelled_by: str = ""
    customer: str = ""

    @property
    def demands(self) -> tuple[str, ...]:
        """What the repair itself takes, without the drive that proves it.

        Whatever is not said to be an adjustment or a cleaning opens something.
        """
        opens = bool(self.rules.opens) or self.kind not in {"adjust", "clean"}
        needs = self.rules.state.demands() if self.rules.state is not None else ()
        return (*needs, "open") if opens else needs


@dataclass(frozen=True, slots=True)
class ReadingRule:
    """A reading that answers a test by itself.

    Attributes:
        quantity: name in the quantity table.
        above: positive above this [house unit], ``None`` for no such limit.
        below: positive below this [house unit].
        rpm: engine speeds it holds at, ``None`` for any.
        load: loads (0..1) it holds at, ``None`` for any.
        clears: whether a value on the good side says that the test found nothing; a test that looks
            at more than this reading is not cleared by it.
        warm: whether a reading taken cold answers nothing.
        instrument: a word that the named instrument holds; any instrument where it is empty.
        result: the outcome that it gives beyond the limit, where the test has several.
        other_below: holds only beside another instrument that read below this [house unit].
        other: quantity that is read beside it at the same point; the limits then bound by how much
            this one reads more.
    """

    quantity: str
    above: float | None
    below: float | None
    rpm: tuple[float, float] | None
    load: tuple[float, float] | None
    clears: bool = True
    warm: bool = False
    instrument: str = ""
    result: str = "positive"
    other_below: float | None = None
    other: str = ""

    def holds_at(self, point: OperatingPoint) -> bool:
        """Say whether a reading at *point* answers the test; what is missing is not assumed."""
        if self.rpm is not None and not point.turns_within(self.rpm):
            return False
        if self.warm and point.warm is False:
            return False
        low, high = self.load or (-math.inf, math.inf)
        return self.load is None or (point.load is not None and low <= point.load <= high)

    def read_on(self, instrument: str) -> bool:
        """Say whether what it was read on is the instrument that the rule asks for."""
        return self.instrument.casefold() in instrument.casefold()


@dataclass(frozen=True, slots=True)
class Test:
    """One test: what is done, what it costs, what its outcomes say.

    Attributes:
        id: test id, unique over all families.
        name: in words.
        positive: what is done and what counts as positive.
        points: operating points.
        instrument: what it is measured with.
        minutes: hands-on time.
        usd: material.
        access: 1 to 5 as for a cause.
        invasive: something is taken apart.
        caution: what can hurt.
        outcomes: the most telling first, "nothing found" last.
        base: P(outcome | none of the listed causes is present), one number an outcome.
        probability: cause id -> P(outcome | this cause alone is present), one number an outcome;
            every cause of the family is there.
        needs: warm, road, load, second person.
        outcome_words: outcome id -> what is seen.
        access_group: see :class:`Cause`.
        source: where the numbers come from.
        readings: readings that answer it without a test entry.
        rules: state, cautions, what comes first.
        kind: look, measure, code, functional or strip; empty where the pack does not say.
        free_look: under five minutes, no tool.
        mistake: how often it is misread or wrongly made; ``None`` where the pack does not say.
        reading: the reading that it yields.
        same_as: tests of other families that are the same check.
        recording: what a recording says that answers it as well; empty where none does.
        never: what must never be done with it.
        abort: when to break it off.
        only_if: when alone it tells anything.
        stronger_after: what makes it tell more.
    """

    __test__ = False  # pytest: this is a record

    id: str
    name: str
    positive: str
    points: tuple[str, ...]
    instrument: str
    minutes: Spread
    usd: Spread
    access: int
    invasive: bool
    caution: str
    outcomes: tuple[str, ...]
    base: tuple[float, ...]
    probability: Mapping[str, tuple[float, ...]]
    needs: tuple[str, ...]
    outcome_words: Mapping[str, str]
    access_group: str
    source: Source
    readings: tuple[ReadingRule, ...] = ()
    rules: StepRules = StepRules()
    kind: str = ""
    free_look: bool = False
    mistake: float | None = None
    reading: Yield | None = None
    same_as: tuple[str, ...] = ()
    never: str = ""
    abort: str = ""
    only_if: str = ""
    stronger_after: str = ""
    recording: str = ""

    @property
    def demands(self) -> tuple[str, ...]:
        """What making it takes of the truck and the engine, as a stop judges it."""
        state = self.rules.state.demands() if self.rules.state is not None else ()
        opens = bool(self.rules.opens) or self.kind == "strip" or self.invasive
        return tuple(dict.fromkeys((*self.needs, *state, *(("open",) if opens else ()))))

    def row(self, cause: str) -> tuple[float, ...]:
        """Return P(outcome | this cause alone), the base where the pack says nothing of it."""
        return self.probability.get(cause, self.base)

    def outcome_set(self, result: str) -> tuple[int, ...]:
        """Return the numbers of the outcomes that a result id stands for.

        ``positive`` stands for every outcome but the last, ``negative`` for the last.

        Raises:
            KeyError: the test has no such outcome.
        """
        if result in self.outcomes:
            return (self.outcomes.index(result),)
        if result == POSITIVE:
            return tuple(range(len(self.outcomes) - 1))
        if result == NEGATIVE:
            return (len(self.outcomes) - 1,)
        raise KeyError(result)
