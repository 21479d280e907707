"""The pack format ``witnessmark.pack/2.0``: one pack file is one TOML document.

The records are its schema; the published JSON Schema (``schema/2.0/pack.schema.json``) and the
table of all fields (docs/pack_fields.md) are made from them, and tests hold all three together.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from witnessmark.knowledge.parts.family_parts import (
    AccessGroupPart,
    BandPart,
    CasePart,
    ConditionPart,
    FamilyPart,
    LinkPart,
    TrapPart,
)
from witnessmark.knowledge.parts.part_base import Id, PackPart, SourcePart, Words
from witnessmark.knowledge.parts.rule_parts import (
    CautionPart,
    CodePart,
    DrivePointPart,
    FindingTablePart,
    MeasurementPart,
    OfferedPart,
    OnsetPart,
    ProofPart,
    ProofPointPart,
    RetiredPart,
    SignPart,
    StopPart,
    TogetherPart,
    TriagePart,
)
from witnessmark.knowledge.parts.step_parts import CausePart, TestPart

__all__ = ["SCHEMA", "PackFile", "json_schema"]

SCHEMA = "witnessmark.pack/2.0"


class PackFile(PackPart):
    """A whole pack file."""

    schema_: Literal["witnessmark.pack/2.0"] = Field(
        alias="schema", description="always `witnessmark.pack/2.0`"
    )
    name: Id = Field(
        description="the pack's own id; a pack with the name of a shipped one stands in its place "
        "when it is checked"
    )
    title: Words = Field(description="in words")
    version: Words = Field(description="yours to count")
    sources: dict[Id, SourcePart] = Field(
        description="where the numbers come from: key -> source; every number names one"
    )
    family: FamilyPart | None = Field(
        default=None, description="the family that the other parts belong to"
    )
    causes: tuple[CausePart, ...] = Field(default=(), description="causes")
    tests: tuple[TestPart, ...] = Field(default=(), description="tests")
    conditions: tuple[ConditionPart, ...] = Field(
        default=(), description="conditions that clues refer to"
    )
    together: tuple[TogetherPart, ...] = Field(
        default=(), description="causes found together more often than chance would have it"
    )
    onset: OnsetPart | None = Field(default=None, description="how the trouble began")
    signs: tuple[SignPart, ...] = Field(default=(), description="what several tests and clues see")
    finding_tables: tuple[FindingTablePart, ...] = Field(
        default=(), description="what findings of recordings and models say of the causes"
    )
    stops: tuple[StopPart, ...] = Field(default=(), description="safety stops")
    traps: tuple[TrapPart, ...] = Field(default=(), description="tempting wrong turns")
    readings: tuple[OfferedPart, ...] = Field(
        default=(), description="readings to offer, the usual first"
    )
    measurements: tuple[MeasurementPart, ...] = Field(
        default=(), description="readings taken together with one hook-up"
    )
    drive_points: tuple[DrivePointPart, ...] = Field(
        default=(), description="places to be driven or run, for the road-test card"
    )
    proof_points: tuple[ProofPointPart, ...] = Field(
        default=(), description="named places at which a proof is measured"
    )
    proof: ProofPart | None = Field(
        default=None, description="what counts as proof that the complaint is gone"
    )
    triage: tuple[TriagePart, ...] = Field(
        default=(), description="questions for the phone and the roadside"
    )
    codes: tuple[CodePart, ...] = Field(
        default=(), description="what trouble codes (SPN, FMI) point to"
    )
    links: tuple[LinkPart, ...] = Field(default=(), description="faults that make two complaints")
    bands: tuple[BandPart, ...] = Field(default=(), description="healthy bands")
    access_groups: tuple[AccessGroupPart, ...] = Field(
        default=(), description="disassembly that jobs share"
    )
    cautions: tuple[CautionPart, ...] = Field(default=(), description="the caution library")
    retired: tuple[RetiredPart, ...] = Field(
        default=(), description="ids that are no longer used, and what became of them"
    )
    cases: tuple[CasePart, ...] = Field(default=(), description="the pack's own tests")

    @model_validator(mode="after")
    def _needs_family(self) -> PackFile:
        of_a_family = (
            self.causes, self.tests, self.cases, self.traps, self.together, self.onset, self.signs,
            self.finding_tables, self.measurements, self.proof,
        )  # fmt: skip
        if self.family is None and any(of_a_family):
            raise ValueError(
                "causes, tests, traps, cases, together, onset, signs, finding_tables, "
                "measurements and proof need a [family] that says whose they are"
            )
        return self


def json_schema() -> dict[str, Any]:
    """Return the published JSON Schema of a pack file."""
    schema = PackFile.model_json_schema(by_alias=True)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:witnessmark:pack:2.0",
        **schema,
        "title": SCHEMA,
    }
