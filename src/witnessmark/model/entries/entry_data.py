"""The data records of the entries, one frozen record a kind. Schema ``witnessmark.entry/1``."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from typing import Annotated, Literal

from pydantic import (
    Field,
    StringConstraints,
    field_validator,
    model_validator,
)

from witnessmark.errors import UnitRefused
from witnessmark.model.entries.agreed_data import ApprovalData, PartData, QuoteData
from witnessmark.model.entries.inspection_data import CertificateData, InspectionData
from witnessmark.model.entries.ledger_data import (
    ClockData,
    CloseData,
    DeclineData,
    InspectData,
    LabourData,
    VisitData,
)
from witnessmark.model.entries.own_list import OwnList
from witnessmark.model.entries.record_base import WHOLE, Id, Label, Name, Record, Words, slug
from witnessmark.model.entries.tightened_data import Part, Torque
from witnessmark.model.finding import OperatingPoint
from witnessmark.units import Range, parse, parse_range

#: What the data bus can carry: SPN 190 (0.125 rpm a bit) and SPN 92 (1 % a bit, as a fraction),
#: each up to the highest number that is no indicator (SAE J1939-71), 8,031.875 rpm rounded up.
MOST_RPM = 8032.0
MOST_LOAD = 2.5


class Engine(Record):
    """The engine as far as it is known; every field may be missing."""

    cylinders: int | None = Field(default=None, ge=1, le=24)
    displacement_l: float | None = Field(default=None, gt=0, le=200)
    firing_order: tuple[int, ...] | None = None
    fuel_supply: Literal["gallery", "common_rail", "unknown"] | None = None
    type: str | None = Field(default=None, max_length=80, description="the shop's own type name")
    lift_pump: Literal["none", "electric"] | None = Field(
        default=None, description="a pump before the fuel transfer pump that pushes fuel to it"
    )
    fuel_regulator: Literal["fitted", "none"] | None = Field(
        default=None, description="whether the fuel return has a pressure regulator"
    )


class Shaft(Record):
    """One propeller shaft: lengths as text with a unit."""

    length: Annotated[str, StringConstraints(min_length=1, max_length=40)] = Field(
        description='between joint centres, such as "72 in"'
    )
    outer: Annotated[str, StringConstraints(min_length=1, max_length=40)] = Field(
        description='outer diameter of the tube, such as "4.0 in"'
    )
    inner: str | None = Field(
        default=None, max_length=40, description="inner diameter; left out: a solid shaft"
    )


class TruckData(Record):
    """The truck."""

    label: Label
    engine: Engine = Engine()
    miles: float | None = Field(default=None, ge=0, le=1e7)
    hours: float | None = Field(default=None, ge=0, le=1e6)
    gears: dict[str, float] | None = Field(default=None, description="gear name -> ratio")
    axle_ratio: float | None = Field(default=None, gt=0, le=20)
    tyre_rev_per_mile: float | None = Field(default=None, gt=0, le=2000)
    accessories: dict[Name, Annotated[float, Field(gt=0, le=20)]] | None = Field(
        default=None,
        max_length=12,
        description="what the engine drives (fan, alternator, ...) -> turns per crankshaft turn",
    )
    shafts: tuple[Shaft, ...] | None = Field(
        default=None, max_length=6, description="propeller shafts, transmission first"
    )
    customer: str | None = Field(default=None, max_length=200)
    vin: str | None = Field(default=None, max_length=40, description="vehicle number")
    plate: str | None = Field(default=None, max_length=40)
    unit: str | None = Field(default=None, max_length=60, description="the owner's own number")
    vehicle: Literal["truck", "trailer", "dolly"] | None = Field(
        default=None, description="what it is; left out: a truck"
    )
    phone: str | None = Field(default=None, max_length=60, description="of the customer")
    miles_out: float | None = Field(default=None, ge=0, le=1e7, description="at hand-over")
    language: Literal["en", "es"] | None = Field(
        default=None, description="of the customer's paper"
    )


class ComplaintData(Record):
    """A complaint in the driver's own words, with the families it may belong to."""

    words: Words
    families: tuple[Id, ...] = ()
    own: OwnList | None = Field(
        default=None, description="the technician's own suspects, where no family fits"
    )

    @model_validator(mode="before")
    @classmethod
    def _named(cls, value: object) -> object:
        """Let the complaint be about the family that its own list makes."""
        own = value.get("own") if isinstance(value, dict) else None
        called = own.get("called") if isinstance(own, dict) else getattr(own, "called", None)
        if isinstance(value, dict) and isinstance(called, str):
            family, told = f"own_{slug(called)}", value.get("families") or ()
            if isinstance(told, list | tuple) and family not in told:
                return {**value, "families": [*told, family]}
        return value


class Point(Record):
    """Operating point of a reading."""

    rpm: float | None = Field(default=None, ge=0, le=MOST_RPM)
    load: str | float | None = Field(default=None, description="none, full, or a percentage")
    gear: Label | None = None
    warm: bool | None = None
    engine: Literal["off", "key_on", "cranking", "idle", "running"] | None = Field(
        default=None, description="what the engine did, where no speed was read"
    )

    @field_validator("load")
    @classmethod
    def _load(cls, value: str | float | None) -> str | float | None:
        load_fraction(value)
        return value

    def at(self) -> OperatingPoint:
        """Return it as the rooms behind the door know it."""
        return OperatingPoint(self.rpm, self.fraction(), self.gear, self.warm, self.engine)

    def fraction(self) -> float | None:
        """Return the load as 0..1, ``None`` where it was not given."""
        return load_fraction(self.load)


class Instrument(Record):
    """What it was measured with."""

    id: Label | None = None
    span: str | None = Field(default=None, max_length=40, description='such as "160 psi"')
    accuracy: str | None = Field(default=None, max_length=60, description='such as "1 % of span"')
    repeatability: str | None = Field(default=None, max_length=60)
    calibrated: str | None = Field(default=None, max_length=40)


class ReadingData(Record):
    """One value read off an instrument: text with a unit."""

    quantity: Name
    value: Annotated[str, StringConstraints(min_length=1, max_length=64)]
    point: Point = Point()
    instrument: Instrument | None = None
    source: str | None = Field(default=None, max_length=200)

    def house_value(self) -> float:
        """Return the value in the quantity's house unit; of a range its middle."""
        return _house_range(self.quantity, self.value).middle

    def house_half(self) -> float:
        """Return half of the range that was read, in the house unit; 0.0 for one figure."""
        return _house_range(self.quantity, self.value).half

    def as_read(self) -> Range:
        """Return what the pointer showed, in the house unit, with how it was told."""
        return _house_range(self.quantity, self.value)

    def typed_unit(self) -> str:
        """Return the symbol of the unit that the value was written in."""
        return _house_range(self.quantity, self.value).symbol


class RecordingData(Record):
    """A file of the recorder, the phone or the pickup."""

    path: Annotated[str, StringConstraints(min_length=1, max_length=1000)]
    sha256: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")] | None = None
    holds: Literal["bus", "table", "vibration", "waveform", "tooth_timing", "sound"] | None = None
    marks: int | None = Field(
        default=None, ge=4, le=400, description="places on the wheel a pickup looks at"
    )
    place: Literal["nose", "flywheel"] | None = Field(
        default=None, description="where on the crankshaft that wheel sits"
    )
    dead_centre: str | None = Field(
        default=None,
        max_length=40,
        description="crank angle from the camshaft's mark in the same recording to cylinder 1's "
        'firing dead centre, such as "84 deg"',
    )
    bus: str | None = Field(
        default=None,
        max_length=40,
        description="the interface or channel that is the truck's, where the recording holds "
        "several with an engine each",
    )
    point: Point = Point()


class ClueData(Record):
    """Something looked at: there (``seen`` true), not there (false) or doubtful ("maybe")."""

    clue: Id
    seen: bool | Literal["maybe"]
    cause: Id | None = Field(default=None, description="the part a part-scoped clue speaks of")


class CodeData(Record):
    """A trouble code as a control unit tells it (SAE J1939-73). It is a pointer, no verdict."""

    spn: Annotated[int, Field(strict=True, ge=0, le=524287), WHOLE] = Field(
        description="number of what it is about"
    )
    fmi: Annotated[int, Field(strict=True, ge=0, le=31), WHOLE] = Field(description="failure mode")
    count: Annotated[int, Field(strict=True, ge=0, le=126), WHOLE] | None = Field(
        default=None, description="how often it came"
    )
    source: Annotated[int, Field(strict=True, ge=0, le=253), WHOLE] | None = Field(
        default=None, description="address of the control unit that tells it"
    )
    active: bool = Field(default=True, description="false: it was active before and is not now")
    lamp: (
        Literal["malfunction indicator", "red stop", "amber warning", "protect", "none"] | None
    ) = Field(default=None, description="lamp that is lit with it")


class TestData(Record):
    """A test of the knowledge pack and its result."""

    __test__ = False  # pytest: this is a record

    test: Id
    result: Id = Field(description="positive, negative, maybe, or an outcome id of the test")
    value: str | None = Field(default=None, max_length=64, description="what was read, in words")
    note: Words | None = None
    by: str | None = Field(
        default=None,
        max_length=200,
        description="who made it; the same again by another person tells more",
    )
    instrument: str | None = Field(
        default=None, max_length=200, description="with what; another instrument counts as another"
    )

    def hand(self, by: str = "") -> str:
        """Return whose reading it is: person and instrument; empty where neither is known."""
        who = (self.by or by).strip().casefold()
        with_what = (self.instrument or "").strip().casefold()
        return f"{who} with {with_what}" if with_what else who


class WorkData(Record):
    """Work done. What was measured before it speaks of the old part, after it of the new one."""

    cause: Id | None = None
    did: Words
    minutes: float | None = Field(default=None, ge=0, le=1e5)
    parts: tuple[Part, ...] = ()
    torques: tuple[Torque, ...] = ()
    points: tuple[Id, ...] = Field(
        default=(), max_length=40, description="points of the inspection that it puts right"
    )


class OutcomeData(Record):
    """The customer's word afterwards."""

    complaint: Id
    gone: bool | Literal["partly"]
    after_days: float | None = Field(default=None, ge=0, le=1e4)
    words: Words | None = None
    comeback: Literal["same cause", "our work", "new fault", "not found"] | None = Field(
        default=None, description="what it was, where the complaint came back"
    )
    earlier_case: Id | None = Field(
        default=None, description="the case that this one comes back from"
    )


class PhotoData(Record):
    """A photo, stored beside the recordings by its digest."""

    path: Annotated[str, StringConstraints(min_length=1, max_length=1000)]
    sha256: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")] | None = None
    caption: Words = ""
    stage: str | None = Field(default=None, max_length=40)
    on_report: bool = Field(default=False, description="placed on the customer's report")


class DueAt(Record):
    """When something is due on a truck: whichever of these comes first."""

    on: Annotated[str, StringConstraints(pattern=r"^\d{4}-\d{2}-\d{2}$")] | None = Field(
        default=None, description="day"
    )
    miles: float | None = Field(default=None, ge=0, le=1e7, description="odometer")
    hours: float | None = Field(default=None, ge=0, le=1e6, description="engine hours")

    @model_validator(mode="after")
    def _some(self) -> DueAt:
        if self.on is None and self.miles is None and self.hours is None:
            raise ValueError("due on a day, at miles or at engine hours")
        if self.on is not None:
            date.fromisoformat(self.on)
        return self


class NoteData(Record):
    """Anything worth writing down; also an override of the proposed step with its reason."""

    words: Words
    about: str | None = Field(default=None, max_length=200)
    due: DueAt | None = Field(default=None, description="when what the note says is due")
    done: Id | None = Field(default=None, description="the note whose due work is done")


class RetractData(Record):
    """Takes an earlier entry out of every computation; it stays visible in the history."""

    entry: Id
    why: Words


Data = (
    TruckData
    | ComplaintData
    | ReadingData
    | RecordingData
    | ClueData
    | CodeData
    | TestData
    | WorkData
    | OutcomeData
    | QuoteData
    | ApprovalData
    | PartData
    | VisitData
    | LabourData
    | ClockData
    | InspectData
    | InspectionData
    | CertificateData
    | DeclineData
    | CloseData
    | PhotoData
    | NoteData
    | RetractData
)

#: Kind of entry -> record of its data.
KINDS: dict[str, type[Record]] = {
    "truck": TruckData,
    "complaint": ComplaintData,
    "reading": ReadingData,
    "recording": RecordingData,
    "clue": ClueData,
    "code": CodeData,
    "test": TestData,
    "work": WorkData,
    "outcome": OutcomeData,
    "quote": QuoteData,
    "approval": ApprovalData,
    "part": PartData,
    "visit": VisitData,
    "labour": LabourData,
    "clock": ClockData,
    "inspect": InspectData,
    "inspection": InspectionData,
    "certificate": CertificateData,
    "decline": DeclineData,
    "close": CloseData,
    "photo": PhotoData,
    "note": NoteData,
    "retract": RetractData,
}


@lru_cache(maxsize=8192)
def _house_range(quantity: str, value: str) -> Range:
    return parse_range(quantity, value)


@lru_cache(maxsize=512)
def load_fraction(load: str | float | None) -> float | None:
    """Return a load as written (none, full, a percentage) as 0..1.

    Raises:
        ValueError: anything else, with a sentence that says what is accepted.
    """
    if load is None:
        return None
    if isinstance(load, bool) or not isinstance(load, str):
        raise ValueError('write the load as text: "none", "full" or a percentage such as "50 %"')
    word = load.strip().lower()
    if word in {"none", "no load", "no"}:
        return 0.0
    if word == "full":
        return 1.0
    try:
        value = parse(word).si if parse(word).unit.symbol == "%" else -1.0
    except UnitRefused:
        value = -1.0
    if not 0.0 <= value <= MOST_LOAD:
        raise ValueError('write the load as "none", "full" or a percentage such as "50 %"')
    return value
