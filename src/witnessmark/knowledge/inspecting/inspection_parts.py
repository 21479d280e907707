"""The form of an inspection list, ``witnessmark.inspection/1.0``: points, limits, inspectors."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from witnessmark.knowledge.parts.part_base import Drive, Id, PackPart, Text, Words

__all__ = ["INSPECTION_SCHEMA", "InspectionFile", "LimitPart", "PointPart", "RaisePart"]

INSPECTION_SCHEMA = "witnessmark.inspection/1.0"
Vehicle = Literal["truck", "tractor", "trailer", "dolly"]
BrakeKind = Literal["air", "hydraulic", "electric"]
Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$")]
Figure = Annotated[str, StringConstraints(min_length=1, max_length=40)]
Given = dict[Id, tuple[Id, ...]]


class RulePart(PackPart):
    """How long an inspection is good, or its report is kept."""

    id: Literal["valid", "kept"]
    months: int = Field(ge=1, le=120)
    section: Words
    evidence: Id


class QualifiedPart(PackPart):
    """What an inspector's ability may rest on."""

    id: Id
    words: Words
    section: Words
    evidence: Id
    counts: bool = Field(default=True, description="false: named by many, and not enough")


class StationPart(PackPart):
    """One place of the walk, with the state of the vehicle there."""

    id: Id
    name: Words
    state: Words


class AreaPart(PackPart):
    """What a point is of."""

    id: Id
    name: Words


class RaisePart(PackPart):
    """The look or test of a family that a point amounts to."""

    given: Given = Field(default={}, description="only where the reading was given so")
    most: Figure | None = Field(default=None, description="only up to this reading")
    test: Id | None = None
    result: Id | None = None
    also: tuple[Id, ...] = Field(
        default=(), description="in clears: other results that a pass of this point rules out too"
    )
    clue: Id | None = None
    seen: bool = True

    @model_validator(mode="after")
    def _one(self) -> RaisePart:
        if (self.clue is None) == (self.test is None) or (self.test is None) != (
            self.result is None
        ):
            raise ValueError("name a test with its result, or a clue")
        if self.also and self.test is None:
            raise ValueError("'also' names results of a test")
        return self


class FaultPart(PackPart):
    """One way in which a point fails, in words to tap on."""

    id: Id
    words: Words
    raises: tuple[RaisePart, ...] = ()
    clears: tuple[RaisePart, ...] = ()


class OptionPart(PackPart):
    """One answer to what is asked beside a reading."""

    id: Id
    words: Words


class BandPart(PackPart):
    """What is said of a given value up to here."""

    to: Figure
    words: Words


class AskPart(PackPart):
    """What must be known beside a reading: one of some options, or a value with a unit."""

    id: Id
    words: Words
    options: tuple[OptionPart, ...] = ()
    unit: Figure | None = None
    lowest: Figure | None = None
    highest: Figure | None = None
    bands: tuple[BandPart, ...] = ()
    refuse: Text = ""
    needed: bool = True
    only: Given = Field(default={}, description="asked only where this was given")

    @model_validator(mode="after")
    def _one(self) -> AskPart:
        if bool(self.options) == (self.unit is not None):
            raise ValueError("an ask has options, or a unit")
        if self.unit is not None and (self.lowest is None or self.highest is None):
            raise ValueError("a value that is asked for has a lowest and a highest")
        return self


class InstrumentPart(PackPart):
    """What a point is read with, and how far off that may be."""

    id: Id
    words: Words
    error: Figure
    source: Words


class LimitPart(PackPart):
    """One limit. ``rule``: the inspection's own, the road's, common practice, or only said."""

    given: Given = Field(default={}, description="only where this was told")
    most: Figure | None = Field(default=None, description="more fails; equal passes")
    least: Figure | None = Field(default=None, description="less fails; equal passes")
    above: Figure | None = Field(default=None, description="this or less fails")
    share: float | None = Field(default=None, gt=0, description="at most this times what is given")
    degrees: float | None = Field(default=None, gt=0, lt=360, description="at most this angle")
    of: Id | None = Field(default=None, description="the ask that share or degrees are taken of")
    rule: Literal["inspection", "road", "practice", "flag"] = "inspection"
    section: Words
    evidence: Id

    @model_validator(mode="after")
    def _one(self) -> LimitPart:
        kinds = (self.most, self.least, self.above, self.share, self.degrees)
        if sum(kind is not None for kind in kinds) != 1:
            raise ValueError("a limit has one of most, least, above, share, degrees")
        if (self.of is None) == (self.share is not None or self.degrees is not None):
            raise ValueError("share and degrees name what they are taken of; no other limit does")
        return self


class ReadingPart(PackPart):
    """What is read at a point, where, with what, and against which limits."""

    what: Words
    unit: Figure
    angle: bool = Field(default=False, description="may be typed in degrees, too")
    lowest: Figure
    highest: Figure
    places: Literal["once", "sides", "steer_sides", "wheel_ends", "tyres"] = "once"
    instruments: tuple[InstrumentPart, ...] = Field(min_length=1)
    asks: tuple[AskPart, ...] = ()
    limits: tuple[LimitPart, ...] = Field(min_length=1)


class RequiredPart(PackPart):
    """From which day of building a point's part must be there."""

    date: Day
    vehicles: tuple[Vehicle, ...] = ()
    brakes: tuple[BrakeKind, ...] = ()


class PointPart(PackPart):
    """One point of the inspection."""

    id: Id
    area: Id
    station: Id
    name: Words
    look: Words
    fails: Words
    section: Words
    evidence: Id
    vehicles: tuple[Vehicle, ...] = Field(min_length=1)
    brakes: tuple[BrakeKind, ...] = Field(default=(), description="only with such brakes")
    optional: bool = Field(default=False, description="no line of the appendix")
    may_be_absent: bool = False
    required_from: tuple[RequiredPart, ...] = ()
    opens: Id | None = Field(default=None, description="family of the complaint that it opens")
    drive: Drive = Field(description="what may be done with the vehicle when it fails")
    caution: tuple[Words, ...] = ()
    plain: Words = Field(description="the defect in the customer's words")
    faults: tuple[FaultPart, ...] = ()
    raises: tuple[RaisePart, ...] = ()
    clears: tuple[RaisePart, ...] = ()
    reading: ReadingPart | None = None


class InspectionFile(PackPart):
    """A whole list."""

    form: Literal["witnessmark.inspection/1.0"] = Field(alias="schema")
    name: Id
    title: Words
    version: Words
    evidence: dict[Id, Words] = Field(default={}, description="kind of proof -> in words")
    unsafe: Id | None = Field(
        default=None, description="clue of a point that fails, may not be driven, and has no other"
    )
    rules: tuple[RulePart, ...] = ()
    qualified: tuple[QualifiedPart, ...] = ()
    brake_qualified: tuple[QualifiedPart, ...] = ()
    stations: tuple[StationPart, ...] = ()
    areas: tuple[AreaPart, ...] = ()
    points: tuple[PointPart, ...] = ()
