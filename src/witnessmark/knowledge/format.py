"""The pack format ``witnessmark.pack/1.0``: what a pack file may hold, field by field.

One pack file is one TOML document. The records here are its schema; the published JSON Schema
(``schema/1.0/pack.schema.json``) is made from them and a test holds the two together.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

__all__ = ["SCHEMA", "PackFile", "json_schema"]

SCHEMA = "witnessmark.pack/1.0"

Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,59}$")]
Text = Annotated[str, StringConstraints(max_length=2000)]
Words = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Chance = Annotated[float, Field(gt=0, lt=1)]
Three = Annotated[tuple[float, float, float], Field(description="low, typical, high")]


class PackPart(BaseModel):
    """Base of all parts: unknown keys are faults, numbers are finite."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class SourcePart(PackPart):
    """Where numbers come from; other parts name it by its key."""

    kind: Literal["judgement", "handbook", "measured"]
    words: Words


class ZonePart(PackPart):
    """A zone of the machine."""

    id: Id
    name: Words


class TogetherPart(PackPart):
    """Two causes that are found together more often than chance would have it."""

    causes: tuple[Id, Id]
    odds: Annotated[float, Field(gt=0, le=20)] = Field(
        description="factor on the odds of both beyond independence"
    )
    words: Words


class FamilyPart(PackPart):
    """The complaint family of the pack."""

    id: Id
    name: Words | None = None
    complaint_words: Text | None = None
    safety: Words | None = Field(default=None, description="the caution shown with every step")
    proof: Words | None = Field(default=None, description="what to measure again after a repair")
    operating_points: tuple[Words, ...] | None = None
    second_cause: Chance | None = Field(
        default=None, description="P(two or more causes | complaint) before any finding"
    )
    none_listed: Chance | None = Field(
        default=None, description="P(none of the listed | complaint) before any finding"
    )
    zones: tuple[ZonePart, ...] | None = None
    dependent_tests: tuple[tuple[Id, ...], ...] | None = Field(
        default=None, description="sets of tests that see the same thing"
    )
    together: tuple[TogetherPart, ...] | None = Field(
        default=None, description="causes that wear or fail together"
    )
    source: Id | None = None


class CausePart(PackPart):
    """One cause. A pack that adds a cause gives every field; one that overrides gives some."""

    id: Id
    name: Words | None = None
    zone: Id | None = None
    share: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None, description="share among the family's cases with one cause; they sum to 1"
    )
    conditions: dict[Id, Annotated[float, Field(gt=0, le=20)]] | None = Field(
        default=None, description="condition id -> factor on the odds when it is true"
    )
    access: tuple[int, int, int] | None = Field(default=None, description="1 hood up .. 5 out")
    minutes: Three | None = None
    parts_usd: Three | None = None
    renew_with: tuple[Words, ...] | None = None
    p_cured_if_cause: Chance | None = None
    p_cured_if_not: Chance | None = None
    damage_risk: Text | None = None
    caution: Text | None = None
    proof: Text | None = None
    access_group: Id | Literal[""] | None = None
    source: Id | None = None


class ReadingPart(PackPart):
    """A reading that answers a test by itself; values are text with a unit."""

    quantity: Id
    above: str | None = Field(default=None, description="positive above this")
    below: str | None = Field(default=None, description="positive below this")
    rpm: tuple[float, float] | None = None
    load: tuple[float, float] | None = Field(default=None, description="percent")


class TestPart(PackPart):
    """One test with the probability of its outcomes under every cause."""

    __test__ = False

    id: Id
    name: Words | None = None
    positive: Words | None = Field(default=None, description="what counts as positive")
    points: tuple[Words, ...] | None = None
    instrument: Text | None = None
    minutes: Three | None = None
    usd: Three | None = None
    access: Annotated[int, Field(ge=1, le=5)] | None = None
    invasive: bool | None = None
    caution: Text | None = None
    needs: (
        tuple[Literal["warm", "cold", "running", "road", "load", "second person"], ...] | None
    ) = None
    outcomes: tuple[Id, ...] | None = Field(
        default=None, description="most telling first, 'nothing found' last"
    )
    outcome_words: dict[Id, Words] | None = None
    base: Chance | tuple[Chance, ...] | None = Field(
        default=None, description="P(positive), or one P an outcome, with none of the listed"
    )
    given: dict[Id, Chance | tuple[Chance, ...]] | None = Field(
        default=None, description="cause id -> the same with this cause alone; others: base"
    )
    readings: tuple[ReadingPart, ...] | None = Field(
        default=None, description="readings that answer it without a test entry"
    )
    access_group: Id | Literal[""] | None = None
    source: Id | None = None


class ConditionPart(PackPart):
    """A condition that clues refer to."""

    id: Id
    words: Words | None = None
    part_scoped: bool | None = None
    base_rate: Chance | None = None
    overlapped_by: tuple[Id, ...] | None = None
    miles_over: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="true of itself when the truck has more miles than this"
    )
    hours_over: Annotated[float, Field(gt=0)] | None = Field(
        default=None, description="true of itself when the engine has more hours than this"
    )
    source: Id | None = None


class LinkPart(PackPart):
    """One fault that makes two complaints."""

    causes: Annotated[tuple[Id, ...], Field(min_length=1)]
    other: Annotated[tuple[Id, ...], Field(min_length=1)]
    odds: Annotated[float, Field(gt=0, le=100)]
    words: Words
    source: Id


class BandPart(PackPart):
    """A healthy band with the operating points it is valid at. Values are text with a unit."""

    quantity: Id
    low: str | None = None
    high: str | None = None
    rpm: tuple[float, float] | None = None
    load: tuple[float, float] | None = Field(default=None, description="percent")
    warm: bool | None = None
    fuel_supply: Literal["gallery", "common_rail"] | None = None
    engine_type: Text | None = None
    words: Words
    source: Id


class AccessGroupPart(PackPart):
    """Disassembly that several jobs share."""

    id: Id
    words: Words | None = None
    minutes: Three | None = None
    source: Id | None = None


class ClueGiven(PackPart):
    """A clue of a pack's own case."""

    clue: Id
    seen: bool | Literal["maybe"] = True
    cause: Id | None = None


class TestGiven(PackPart):
    """A test result of a pack's own case."""

    __test__ = False

    test: Id
    result: Id


class TrapPart(PackPart):
    """A tempting wrong turn, said aloud while it threatens.

    It is said when one of *suspected* has at least 10 %, every one of *clues* was seen and every
    one of *tests* had its result; and as long as not all of *unless* are recorded.
    """

    words: Words
    suspected: tuple[Id, ...] = ()
    clues: tuple[Id, ...] = ()
    tests: tuple[TestGiven, ...] = ()
    unless: tuple[Id, ...] = ()
    source: Id


class CasePart(PackPart):
    """Given these findings, this cause leads."""

    name: Words
    clues: tuple[ClueGiven, ...] = ()
    tests: tuple[TestGiven, ...] = ()
    leads: Id
    at_least: Annotated[float, Field(ge=0, le=1)] = 0.0
    at_most: Annotated[float, Field(ge=0, le=1)] = 1.0


class PackFile(PackPart):
    """A whole pack file."""

    schema_: Literal["witnessmark.pack/1.0"] = Field(alias="schema")
    name: Id
    title: Words
    version: Words
    sources: dict[Id, SourcePart] = Field(description="key -> source; every number names one")
    family: FamilyPart | None = None
    causes: tuple[CausePart, ...] = ()
    tests: tuple[TestPart, ...] = ()
    conditions: tuple[ConditionPart, ...] = ()
    links: tuple[LinkPart, ...] = ()
    bands: tuple[BandPart, ...] = ()
    access_groups: tuple[AccessGroupPart, ...] = ()
    traps: tuple[TrapPart, ...] = ()
    cases: tuple[CasePart, ...] = ()

    @model_validator(mode="after")
    def _needs_family(self) -> PackFile:
        if self.family is None and (self.causes or self.tests or self.cases or self.traps):
            raise ValueError(
                "causes, tests, traps and cases need a [family] that says whose they are"
            )
        return self


def json_schema() -> dict[str, Any]:
    """Return the published JSON Schema of a pack file."""
    schema = PackFile.model_json_schema(by_alias=True)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:witnessmark:pack:1.0",
        **schema,
        "title": SCHEMA,
    }
