"""A family of a pack: its causes, its tests, the conditions that clues refer to."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from witnessmark.knowledge.parts.check_parts import (
    ClueGiven,
    CodeGiven,
    ReadingGiven,
    TestGiven,
)
from witnessmark.knowledge.parts.part_base import (
    Chance,
    Id,
    PackPart,
    PointWindow,
    Text,
    Three,
    TruckState,
    Words,
)

__all__ = [
    "AccessGroupPart",
    "BandPart",
    "CasePart",
    "ConditionPart",
    "FamilyPart",
    "LinkPart",
    "TrapPart",
    "ZonePart",
]


class ZonePart(PackPart):
    """A zone of the machine; odds are shown by zone first."""

    id: Id = Field(description="zone id")
    name: Words = Field(description="in words")


class FamilyPart(PackPart):
    """The complaint family of the pack. Only `id` is needed to override or add."""

    id: Id = Field(description="family id")
    name: Words | None = Field(default=None, description="in words")
    complaint_words: Text | None = Field(default=None, description="how drivers say it")
    safety: Words | None = Field(default=None, description="the caution shown with every step")
    cautions: tuple[Id, ...] | None = Field(
        default=None, description="the same as ids of the caution library"
    )
    proof: Words | None = Field(
        default=None, description="what to measure again after a repair, in words"
    )
    proof_at: Text | None = Field(default=None, description="where and when that is done")
    operating_points: tuple[Words, ...] | None = Field(
        default=None, description="where to measure, in words"
    )
    drive_points: tuple[Id, ...] | None = Field(
        default=None, description="ids of `drive_points`, the most telling first"
    )
    second_cause: Chance | None = Field(
        default=None, description="P(two or more causes | complaint) before any finding"
    )
    none_listed: Chance | None = Field(
        default=None, description="P(none of the listed | complaint) before any finding"
    )
    within_normal: Chance | None = Field(
        default=None,
        description="P(nothing is wrong | complaint) before any finding, where what is complained "
        "of may lie within normal; left out: it never does",
    )
    nothing_wrong: Chance | None = Field(
        default=None,
        description="P(nothing is wrong | complaint), once a physical model has readings to tell "
        "it by; left out: 0",
    )
    nothing_wrong_settles: Words | None = Field(
        default=None, description="what settles the complaint then, in words"
    )
    zones: tuple[ZonePart, ...] | None = Field(
        default=None, description="the zones of the machine: `id` and `name` each"
    )
    dependent_tests: tuple[tuple[Id, ...], ...] | None = Field(
        default=None,
        description="sets of tests that see the same thing: what their tables have in common is "
        "a sign that all of them report",
    )
    first_round: tuple[Id, ...] | None = Field(
        default=None, description="tests of the first walk round, in their order"
    )
    consumables: dict[Words, Words] | None = Field(
        default=None, description="what is used up, with its price in words"
    )
    vehicles: tuple[Literal["truck", "trailer", "dolly"], ...] | None = Field(
        default=None, description="what it is a complaint of; left out: truck"
    )
    told_by: tuple[Literal["shake", "cylinders", "sensors"], ...] | None = Field(
        default=None,
        description="recordings whose results stand in the report on this complaint: of "
        "vibration, of the cylinders' shares, of what sensors read",
    )
    scope: Text | None = Field(default=None, description="what it hardly covers, said on its page")
    modelled_by: tuple[Id, ...] | None = Field(
        default=None, description="physical models that speak of it"
    )
    source: Id | None = Field(default=None, description="key of the source")


class ConditionPart(PackPart):
    """A condition that clues refer to."""

    id: Id = Field(description="condition id: what a clue names")
    words: Words | None = Field(default=None, description="what it means")
    part_scoped: bool | None = Field(
        default=None,
        description="true when it speaks of one part; it then counts only for the cause whose "
        "part it is",
    )
    fact: bool | None = Field(
        default=None,
        description="true: a fact of the truck or the place that stops and steps ask for; it "
        "moves odds only where it has a `base_rate` and a cause names it",
    )
    touched: bool | None = Field(
        default=None,
        description="true: something was just opened, fitted, filled or charged; what it speaks "
        "of is looked at first",
    )
    truck_state: TruckState | None = Field(
        default=None,
        description="the state that it puts the truck in; what cannot be done then is not offered",
    )
    base_rate: Chance | None = Field(
        default=None,
        description="how often it is true on trucks without the cause; from it follows what "
        '"looked, not so" is worth',
    )
    overlapped_by: tuple[Id, ...] | None = Field(
        default=None,
        description="tests that see the same thing; what condition and test both say counts once",
    )
    miles_over: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="true of itself on a truck with more miles than this"
    )
    hours_over: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="the same by engine hours"
    )
    after_work: tuple[Id, ...] | None = Field(
        default=None, description="causes after whose repair it is true of itself"
    )
    cold_reading: Id | None = Field(
        default=None,
        description="quantity: true of itself while that was read with the engine cold only",
    )
    vehicles: tuple[Literal["truck", "trailer", "dolly"], ...] | None = Field(
        default=None, description="true of itself on a vehicle of one of these kinds"
    )
    ask: Text | None = Field(default=None, description="the question to put, in words")
    source: Id | None = Field(default=None, description="key of the source")


class LinkPart(PackPart):
    """One fault that makes two complaints."""

    causes: Annotated[tuple[Id, ...], Field(min_length=1)] = Field(
        description="cause ids of one family"
    )
    other: Annotated[tuple[Id, ...], Field(min_length=1)] = Field(
        description="cause ids of another family"
    )
    odds: Annotated[float, Field(gt=0, le=100)] = Field(
        description="how many times likelier both sides are together than by chance"
    )
    words: Words = Field(description="the mechanism in one sentence")
    source: Id = Field(description="key of the source")


class BandPart(PointWindow):
    """A healthy band with the operating points it is valid at. Values are text with a unit."""

    quantity: Id = Field(description="name in the quantity table")
    low: str | None = Field(default=None, description='lower end with its unit, such as `"69 psi"`')
    high: str | None = Field(default=None, description="upper end; one of the two may be left out")
    warm: bool | None = Field(
        default=None, description="true when the engine must be at working temperature"
    )
    fuel_supply: Literal["gallery", "common_rail"] | None = Field(
        default=None, description="when it holds for one of them only"
    )
    engine_type: Text | None = Field(
        default=None, description="your own type name when it holds for that type only"
    )
    words: Words = Field(description="what it is")
    source: Id = Field(description="key of the source")


class AccessGroupPart(PackPart):
    """Disassembly that several jobs share."""

    id: Id = Field(description="group id")
    words: Words | None = Field(default=None, description="what is opened")
    minutes: Three | None = Field(
        default=None, description="time to open and close it once, low, typical, high"
    )
    source: Id | None = Field(default=None, description="key of the source")


class TrapPart(PackPart):
    """A tempting wrong turn, said aloud while it threatens.

    It is said when one of *suspected* has at least 10 %, every one of *clues* was seen and every
    one of *tests* had its result; and as long as not all of *unless* are recorded.
    """

    words: Words = Field(description="what to say")
    suspected: tuple[Id, ...] = Field(
        default=(),
        description="it is said when one of these causes has at least 10 %; left out: whatever is "
        "suspected",
    )
    clues: tuple[Id, ...] = Field(
        default=(), description="and every one of these conditions was seen"
    )
    tests: tuple[TestGiven, ...] = Field(
        default=(), description="and every one of these tests had its result"
    )
    unless: tuple[Id, ...] = Field(
        default=(), description="and not all of these tests are recorded"
    )
    source: Id = Field(description="key of the source")


class KnownWrong(PackPart):
    """A part of a case that is known not to come out today; it must not come right unnoticed."""

    rule: Id = Field(description="the stop, or `leads`")
    why: Words = Field(description="why")
    until: Words = Field(description="version by which it is mended")


class CasePart(PackPart):
    """Given these findings, this cause leads and these stops stand."""

    name: Words = Field(description="in words")
    clues: tuple[ClueGiven, ...] = Field(default=(), description="what was looked at")
    tests: tuple[TestGiven, ...] = Field(default=(), description="what was tested")
    readings: tuple[ReadingGiven, ...] = Field(default=(), description="what was read")
    codes: tuple[CodeGiven, ...] = Field(default=(), description="trouble codes that stood")
    work: tuple[Id, ...] = Field(default=(), description="causes that were repaired then")
    tests_after: tuple[TestGiven, ...] = Field(
        default=(), description="what was tested after that work"
    )
    leads: Id | None = Field(
        default=None, description="the cause that must stand first; left out: any"
    )
    at_least: Annotated[float, Field(ge=0, le=1)] = Field(
        default=0.0, description="and have at least this probability"
    )
    at_most: Annotated[float, Field(ge=0, le=1)] = Field(
        default=1.0,
        description='and at most this one: write it where the honest answer is "not decided"',
    )
    fires: tuple[Id, ...] = Field(default=(), description="stops that stand")
    silent: tuple[Id, ...] = Field(default=(), description="stops that do not stand")
    known_wrong: tuple[KnownWrong, ...] = Field(
        default=(), description="what is known not to come out yet; it fails once it does"
    )
