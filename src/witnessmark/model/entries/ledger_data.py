"""The shop's ledger: a visit, hours worked, an inspection, what was declined, how it was closed."""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from witnessmark.model.entries.record_base import Id, Name, Record, Words

__all__ = ["ClockData", "CloseData", "DeclineData", "InspectData", "LabourData", "VisitData"]

_Day = Annotated[str, StringConstraints(max_length=40)]
_Miles = Annotated[str, StringConstraints(pattern=r"^\s*\d[\d, ]{0,9}(\.\d)?\s*(mi|miles|km)?\s*$")]
_MILES_A_KM = 0.621371


def miles_of(text: str | float | None) -> float | None:
    """Return an odometer's figure in miles; without a unit it is miles."""
    if text is None:
        return None
    if isinstance(text, int | float):
        return float(text)
    figure = float(re.sub(r"[^\d.]", "", text))
    return figure * _MILES_A_KM if text.strip().endswith("km") else figure


class VisitData(Record):
    """The truck's stay in the shop. An odometer is miles where no unit stands ("880120 km")."""

    odometer_in: _Miles | Annotated[float, Field(ge=0, le=1e7)] | None = None
    odometer_out: _Miles | Annotated[float, Field(ge=0, le=1e7)] | None = None
    hours: float | None = Field(default=None, ge=0, le=1e6, description="of the engine")
    promised: _Day | None = Field(default=None, description="day the truck is promised for")
    limit_usd: float | None = Field(default=None, ge=0, le=1e8)
    downtime_usd_per_h: float | None = Field(default=None, ge=0, le=1e6)

    def miles_in(self) -> float | None:
        """Return the odometer at arrival [mile]."""
        return miles_of(self.odometer_in)

    def miles_out(self) -> float | None:
        """Return the odometer at hand-over [mile]."""
        return miles_of(self.odometer_out)


class LabourData(Record):
    """Hours on a job: begun and stopped, or how long it took."""

    start: str | None = Field(default=None, max_length=40, description='such as "07:30"')
    stop: str | None = Field(default=None, max_length=40)
    minutes: float | None = Field(default=None, ge=0, le=1e5)
    job: str | None = Field(default=None, max_length=200)

    @model_validator(mode="after")
    def _some(self) -> LabourData:
        if self.start is None and self.stop is None and self.minutes is None:
            raise ValueError("labour has a start, a stop or minutes")
        return self


class ClockData(Record):
    """A person begins or ends a job: the entry's own time is when."""

    does: Literal["start", "stop"]
    person: Name
    job: Name | None = Field(
        default=None,
        description="a step, test or cause by its id, a line of an estimate (quote:number), "
        "'diagnosis', or words; a stop without one ends all that the person has running here",
    )
    both: bool = Field(default=False, description="true: beside what is running already")
    share: float | None = Field(
        default=None,
        ge=0,
        le=1,
        description="part of the time that counts while two jobs run; left out: alike, half each",
    )
    of: Id | None = Field(
        default=None,
        description="a stop on a start: when that ended, as somebody says; else the start or "
        "stop whose time this entry corrects",
    )
    elsewhere: Id | None = Field(
        default=None, description="the case of the job, where this is a copy of its entry"
    )

    @model_validator(mode="after")
    def _some(self) -> ClockData:
        if self.does == "start" and not self.job and not self.of:
            raise ValueError("a start names its job")
        return self


class InspectData(Record):
    """One point looked at for a pass; a figure without a limit passes and fails nothing."""

    point: Name
    result: Literal["pass", "fail", "not_looked", "not_fitted"] | None = None
    value: str | None = Field(default=None, max_length=64, description='such as "9/32 in"')
    place: Id | None = Field(default=None, description="wheel or tyre, such as a2l, a2lo")
    fault: Id | None = Field(default=None, description="which of the point's faults was seen")
    gauge: Id | None = Field(default=None, description="which of the point's instruments")
    error: str | None = Field(
        default=None, max_length=40, description='how far off it may be, such as "1/32 in"'
    )
    given: dict[Id, Annotated[str, StringConstraints(max_length=40)]] | None = Field(
        default=None, max_length=12, description="what the limit depends on: chamber, wheel size"
    )
    note: Words | None = None
    by: str | None = Field(default=None, max_length=200, description="who looked")


class DeclineData(Record):
    """What the customer leaves undone, and what that means."""

    lines: tuple[Id, ...] = ()
    risk: Literal["do_not_drive", "soon", "watch"] | None = None
    words: Words | None = Field(default=None, description="what, and why")

    @model_validator(mode="after")
    def _some(self) -> DeclineData:
        if not self.lines and not self.words:
            raise ValueError("a decline names a line of the estimate, or says what in words")
        return self


class CloseData(Record):
    """How a complaint was closed."""

    complaint: Id
    how: Literal["proven", "repaired_not_proven", "declined", "referred", "not_found"]
    why: Words | None = None
