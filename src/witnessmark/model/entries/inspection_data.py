"""A periodic inspection: its head, and the certificate that ends it."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from witnessmark.model.entries.record_base import Id, Name, Record, Words

__all__ = ["MOST_AXLES", "STEERS", "CertificateData", "InspectionData"]

#: Most axles of a vehicle that is inspected.
MOST_AXLES = 12
#: What drives by itself steers with one of them at least.
STEERS = ("truck", "tractor")

_Day = Annotated[str, StringConstraints(pattern=r"^\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")]
_Axle = Annotated[int, Field(ge=1, le=MOST_AXLES)]


class InspectionData(Record):
    """The head of a periodic inspection: which vehicle, and who may inspect it.

    A later head takes the place of an earlier one; the points that were looked at stay.
    """

    vehicle: Literal["truck", "tractor", "trailer", "dolly"]
    axles: _Axle = 2
    steer_axles: Annotated[int, Field(ge=0, le=4)] | None = Field(
        default=None, description="left out: one of a truck or tractor, none of what is towed"
    )
    dual_axles: tuple[_Axle, ...] | None = Field(
        default=None, max_length=MOST_AXLES, description="left out: every axle that does not steer"
    )
    brake_kind: Literal["air", "hydraulic", "electric"] = "air"
    built: _Day | None = Field(default=None, description="day of building")
    inspector: str | None = Field(default=None, max_length=200)
    qualified: Id | None = Field(default=None, description="what the ability rests on (396.19)")
    evidence: str | None = Field(default=None, max_length=200, description="where it is kept")
    brake_inspector: str | None = Field(default=None, max_length=200)
    brake_qualified: Id | None = Field(default=None, description="by 396.25")
    brake_evidence: str | None = Field(default=None, max_length=200)
    carrier: str | None = Field(default=None, max_length=200, description="who operates it")
    carrier_address: str | None = Field(default=None, max_length=300)

    @model_validator(mode="after")
    def _fits(self) -> InspectionData:
        if (self.steer_axles or 0) > self.axles:
            raise ValueError("more axles steer than it has")
        if self.steer_axles == 0 and self.vehicle in STEERS:
            raise ValueError(f"a {self.vehicle} steers with one axle at least")
        if any(axle > self.axles for axle in self.dual_axles or ()):
            raise ValueError("an axle with duals is not there")
        return self

    def steering(self) -> int:
        """Return how many axles steer, counted from the front."""
        if self.steer_axles is not None:
            return self.steer_axles
        return 1 if self.vehicle in STEERS else 0

    def duals(self) -> tuple[int, ...]:
        """Return the axles that have two tyres a side."""
        if self.dual_axles is not None:
            return self.dual_axles
        return tuple(range(self.steering() + 1, self.axles + 1))


class CertificateData(Record):
    """The signature under an inspection. It counts only where nothing was open when it was made."""

    inspector: Name
    brake_inspector: Name | None = None
    accurate: Literal[True] = Field(
        description="the signer says that the report is accurate and complete"
    )
    words: Words | None = None
