"""The records of the knowledge packs, as the other rooms use them."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from witnessmark.knowledge.bands import Band, Source
from witnessmark.knowledge.causes_and_tests import Cause, Condition, ReadingRule, StepRules, Test
from witnessmark.knowledge.proof_points import ProofPlan
from witnessmark.knowledge.readings_to_take import DrivePlace, Measurement, Offered
from witnessmark.knowledge.rules import (
    Caution,
    CodeMeaning,
    FindingRow,
    Onset,
    Question,
    Retired,
    Sign,
    Stop,
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
    "StepRules",
    "Test",
    "Together",
    "Trap",
]


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
        work: causes that were repaired then.
        tests_after: (test id, result id) after that work.
    """

    clues: tuple[tuple[str, bool | str, str], ...] = ()
    tests: tuple[tuple[str, str], ...] = ()
    readings: tuple[tuple[str, str, float | None, float | None], ...] = ()
    codes: tuple[tuple[int, int], ...] = ()
    work: tuple[str, ...] = ()
    tests_after: tuple[tuple[str, str], ...] = ()


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


@dataclass(frozen=True)
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
        within_normal: P(nothing is wrong | complaint), before any finding: what is complained of
            may lie within normal.
        nothing_wrong: P(nothing is wrong | complaint), once a physical model has readings.
        nothing_wrong_settles: what settles the complaint then, in words.
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
        told_by: recordings whose results stand in the report on it: shake, cylinders, sensors.
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
    told_by: tuple[str, ...] = ()
    within_normal: float = 0.0
    scope: str = ""
    nothing_wrong: float = 0.0
    nothing_wrong_settles: str = ""
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
        return self._cause_of.get(identity)

    def test(self, identity: str) -> Test | None:
        """Return the test of that id, ``None`` when the family has none."""
        return self._test_of.get(identity)

    @cached_property
    def _cause_of(self) -> dict[str, Cause]:
        return {c.id: c for c in self.causes}

    @cached_property
    def _test_of(self) -> dict[str, Test]:
        return {t.id: t for t in self.tests}


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

    def stops_beside(self, families: Collection[str]) -> tuple[Stop, ...]:
        """Return the stops that a case asks for besides those of its own families.

        They are the stops of the whole truck, and of every other family those that hold whatever
        the truck came for.
        """
        others = (f for name, f in self.families.items() if name not in families)
        return (*self.stops, *(s for f in others for s in f.stops if s.whole_truck))

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

    def proof_plans(self) -> dict[str, ProofPlan]:
        """Return family id -> proof plan, of the families that have one."""
        plans = {k: f.proof_plan for k, f in self.families.items()}
        return {k: plan for k, plan in plans.items() if plan is not None}

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
