"""The records of the knowledge packs, as the other rooms use them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from witnessmark.knowledge.bands import Band, Source
from witnessmark.knowledge.proof_points import ProofPlan
from witnessmark.knowledge.rules import (
    Asked,
    Caution,
    CodeMeaning,
    DrivePlace,
    FindingRow,
    LookFirst,
    Measurement,
    Offered,
    Onset,
    Question,
    Retired,
    Sign,
    StepState,
    Stop,
    Yield,
)
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.step import Spread

__all__ = [
    "AccessGroup",
    "Band",
    "Cause",
    "Condition",
    "Family",
    "Given",
    "Knowledge",
    "Link",
    "PackCase",
    "ReadingRule",
    "Source",
    "Test",
    "Together",
    "Trap",
]

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
        overlapped_by: tests that see the same thing; once one is recorded, the condition counts
            no longer.
        miles_over: true of itself on a truck with more miles than this.
        hours_over: true of itself on an engine with more hours than this.
        fact: a fact of the truck or the place that stops ask for; it moves no odds.
        ask: the question to put.
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


@dataclass(frozen=True, slots=True)
class ReadingRule:
    """A reading that answers a test by itself.

    Attributes:
        quantity: name in the quantity table.
        above: positive above this [house unit], ``None`` for no such limit.
        below: positive below this [house unit].
        rpm: engine speeds it holds at, ``None`` for any.
        load: loads (0..1) it holds at, ``None`` for any.
    """

    quantity: str
    above: float | None
    below: float | None
    rpm: tuple[float, float] | None
    load: tuple[float, float] | None

    def holds_at(self, point: OperatingPoint) -> bool:
        """Say whether a reading at *point* answers the test; what is missing is not assumed."""
        for wanted, value in ((self.rpm, point.rpm), (self.load, point.load)):
            if wanted is not None and (value is None or not wanted[0] <= value <= wanted[1]):
                return False
        return True


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


@dataclass(frozen=True, slots=True)
class Link:
    """One fault that makes two complaints: a cause here and a cause of another family.

    Attributes:
        causes: cause ids of one family; the link holds when any of them is present.
        other: cause ids of the other family.
        odds: how many times likelier both are together than by chance.
        words: the mechanism in one sentence.
        source: where the number comes from.
    """

    causes: tuple[str, ...]
    other: tuple[str, ...]
    odds: float
    words: str
    source: Source


@dataclass(frozen=True, slots=True)
class AccessGroup:
    """Disassembly that several jobs share.

    Attributes:
        id: group id.
        words: what is opened.
        minutes: time to open and close it once, saved by every further job in the group.
        source: where the figure comes from.
    """

    id: str
    words: str
    minutes: Spread
    source: Source


@dataclass(frozen=True, slots=True)
class Given:
    """What is given in a pack's own case.

    Attributes:
        clues: (condition id, seen, cause or empty).
        tests: (test id, result id).
        readings: (quantity, value as text, engine speed [r/min], load [0..1]).
        codes: (SPN, FMI).
        work: causes that were repaired since.
    """

    clues: tuple[tuple[str, bool | str, str], ...] = ()
    tests: tuple[tuple[str, str], ...] = ()
    readings: tuple[tuple[str, str, float | None, float | None], ...] = ()
    codes: tuple[tuple[int, int], ...] = ()
    work: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class PackCase:
    """Given these findings, this cause leads: a pack's own test.

    Attributes:
        name: in words.
        given: clues and tests.
        leads: the cause that must stand first; empty: any.
        at_least: its probability must reach this.
        at_most: and must not pass this.
        fires: stops that stand.
        silent: stops that do not stand.
        known_wrong: (stop or "leads", why, version by which it is mended).
    """

    name: str
    given: Given
    leads: str
    at_least: float = 0.0
    at_most: float = 1.0
    fires: tuple[str, ...] = ()
    silent: tuple[str, ...] = ()
    known_wrong: tuple[tuple[str, str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Trap:
    """A tempting wrong turn, said aloud while it threatens.

    Attributes:
        words: what to say.
        suspected: it is said when one of these has at least 10 %; empty: whatever is suspected.
        clues: and every one of these was seen.
        tests: and every one of these tests had this result.
        unless: and not all of these tests are recorded.
        source: where it comes from.
    """

    words: str
    suspected: tuple[str, ...]
    clues: tuple[str, ...]
    tests: tuple[tuple[str, str], ...]
    unless: tuple[str, ...]
    source: Source


@dataclass(frozen=True, slots=True)
class Together:
    """Two causes that are found together more often than chance would have it.

    Attributes:
        causes: their ids.
        odds: factor on the odds of both beyond independence.
        words: why.
    """

    causes: tuple[str, str]
    odds: float
    words: str


@dataclass(frozen=True, slots=True)
class Family:
    """One complaint family.

    Attributes:
        id: family id.
        name: in words.
        complaint_words: how drivers say it.
        safety: the family's caution.
        proof: what to measure again at which points.
        operating_points: where to measure.
        zones: zone id -> words.
        causes: the causes.
        tests: the tests.
        dependent_tests: sets of tests that see the same thing.
        condition_test_overlap: condition id -> tests that see the same thing.
        second_cause: P(two or more listed causes | complaint), before any finding.
        none_listed: P(none of the listed causes | complaint), before any finding.
        cases: the pack's own cases.
        traps: tempting wrong turns.
        source: where the numbers of the family come from.
        together: causes that wear or fail together.
        cautions: the family's caution as ids of the library.
        proof_at: where and when the proof is measured.
        proof_plan: what counts as proof; ``None`` where no pack says.
        drive_points: ids of the places to drive, the most telling first.
        first_round: tests of the first walk round.
        consumables: what is used up -> its price in words.
        vehicles: what it is a complaint of.
        scope: what it hardly covers.
        modelled_by: physical models that speak of it.
        onset: how the trouble began.
        signs: what several tests and clues see.
        finding_tables: what findings say of the causes.
        stops: its safety stops.
        offered: readings to offer, the usual first.
        measurements: readings taken together with one hook-up.
        triage: questions for the phone.
        codes: what trouble codes point to.
    """

    id: str
    name: str
    complaint_words: str
    safety: str
    proof: str
    operating_points: tuple[str, ...]
    zones: Mapping[str, str]
    causes: tuple[Cause, ...]
    tests: tuple[Test, ...]
    dependent_tests: tuple[tuple[str, ...], ...]
    condition_test_overlap: Mapping[str, tuple[str, ...]]
    second_cause: float
    none_listed: float
    cases: tuple[PackCase, ...]
    traps: tuple[Trap, ...]
    source: Source
    together: tuple[Together, ...] = ()
    cautions: tuple[str, ...] = ()
    proof_at: str = ""
    proof_plan: ProofPlan | None = None
    drive_points: tuple[str, ...] = ()
    first_round: tuple[str, ...] = ()
    consumables: Mapping[str, str] = field(default_factory=dict)
    vehicles: tuple[str, ...] = ("truck",)
    scope: str = ""
    modelled_by: tuple[str, ...] = ()
    onset: Onset | None = None
    signs: tuple[Sign, ...] = ()
    finding_tables: tuple[FindingRow, ...] = ()
    stops: tuple[Stop, ...] = ()
    offered: tuple[Offered, ...] = ()
    measurements: tuple[Measurement, ...] = ()
    triage: tuple[Question, ...] = ()
    codes: tuple[CodeMeaning, ...] = ()

    def cause(self, identity: str) -> Cause | None:
        """Return the cause of that id, ``None`` when the family has none."""
        return next((c for c in self.causes if c.id == identity), None)

    def test(self, identity: str) -> Test | None:
        """Return the test of that id, ``None`` when the family has none."""
        return next((t for t in self.tests if t.id == identity), None)


@dataclass(frozen=True)
class Knowledge:
    """Everything the packs say.

    Attributes:
        families: family id -> family.
        conditions: condition id -> condition.
        bands: healthy bands, the narrower ones (by engine type, then fuel supply) first.
        links: faults that make two complaints.
        access_groups: group id -> shared disassembly.
        digests: pack name -> sha256 of its file.
        cautions: the caution library: id -> caution.
        drive_points: id -> place to be driven.
        stops: safety stops of the whole truck.
        offered: readings that are offered whatever the complaint.
        triage: questions of the whole truck.
        codes: what trouble codes point to, of packs without a family.
        retired: (kind, id) -> what became of it.
    """

    families: Mapping[str, Family]
    conditions: Mapping[str, Condition]
    bands: tuple[Band, ...] = ()
    links: tuple[Link, ...] = ()
    access_groups: Mapping[str, AccessGroup] = field(default_factory=dict)
    digests: Mapping[str, str] = field(default_factory=dict)
    cautions: Mapping[str, Caution] = field(default_factory=dict)
    drive_points: Mapping[str, DrivePlace] = field(default_factory=dict)
    stops: tuple[Stop, ...] = ()
    offered: tuple[Offered, ...] = ()
    triage: tuple[Question, ...] = ()
    codes: tuple[CodeMeaning, ...] = ()
    retired: Mapping[tuple[str, str], Retired] = field(default_factory=dict)

    def measurement(self, identity: str) -> Measurement | None:
        """Return the measurement of that id in whichever family has it."""
        every = (m for f in self.families.values() for m in f.measurements)
        return next((m for m in every if m.id == identity), None)

    def code(self, spn: int, fmi: int) -> tuple[CodeMeaning, ...]:
        """Return what a trouble code points to, in all packs."""
        every = (*self.codes, *(c for f in self.families.values() for c in f.codes))
        return tuple(c for c in every if c.means(spn, fmi))

    def now(self, kind: str, identity: str) -> str:
        """Return what an id of that kind is called now; itself where it is not retired.

        A retired id that became several stands for the nearest one; one that became nothing
        keeps its name, which no pack knows any more.
        """
        seen: set[str] = set()
        while identity not in seen and (kind, identity) in self.retired:
            seen.add(identity)
            became = self.retired[kind, identity].becomes
            identity = became[0] if became else identity
        return identity

    def family_of(self, cause_or_test: str) -> Family | None:
        """Return the family that has this cause or test id, ``None`` when there is none."""
        for family in self.families.values():
            if family.cause(cause_or_test) or family.test(cause_or_test):
                return family
        return None

    def cause(self, identity: str) -> Cause | None:
        """Return the cause of that id in whichever family has it."""
        return next((c for f in self.families.values() if (c := f.cause(identity))), None)

    def test(self, identity: str) -> Test | None:
        """Return the test of that id in whichever family has it."""
        return next((t for f in self.families.values() if (t := f.test(identity))), None)

    def bands_at(
        self,
        quantity: str,
        point: OperatingPoint,
        *,
        fuel_supply: str | None = None,
        engine_type: str | None = None,
    ) -> tuple[Band, ...]:
        """Return the bands of a quantity that are valid at a point, the narrowest first."""
        return tuple(
            band
            for band in self.bands
            if band.quantity == quantity
            and band.applies_to(fuel_supply, engine_type)
            and not band.not_valid_at(point)
        )
