"""What stands on a work entry besides the work: the parts that went in, and what was tightened."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from witnessmark.model.entries.record_base import Name, Record

__all__ = ["Part", "Torque"]


class Part(Record):
    """One part on a work entry."""

    name: Name
    usd: float | None = Field(default=None, ge=0, le=1e7)
    quantity: float = Field(default=1, gt=0, le=1e5)
    core_usd: float | None = Field(default=None, ge=0, le=1e7)
    number: str | None = Field(default=None, max_length=80, description="part number")
    vendor: str | None = Field(default=None, max_length=120)
    condition: Literal["new", "rebuilt", "used"] | None = None
    old_part: (
        Literal["kept for the customer", "core returned", "core open", "disposed of"] | None
    ) = Field(default=None, description="what became of the old part")
    core_due: str | None = Field(
        default=None, max_length=40, description="day by which the old part must be back"
    )


class Torque(Record):
    """One tightening: blank stays blank, and the source of the figure is part of it."""

    location: Name
    value: str | None = Field(default=None, max_length=64, description='such as "45 N·m"')
    source: str | None = Field(default=None, max_length=300, description="manual, page, date")
    reading: str | None = Field(default=None, max_length=64)
    size: str | None = Field(
        default=None, max_length=40, description='thread, such as "5/8-18" or "M12x1.25"'
    )
    grade: str | None = Field(
        default=None, max_length=20, description='as marked on the head, such as "8" or "10.9"'
    )
    count: int | None = Field(default=None, ge=1, le=400)
    fastener: Literal["new", "used again"] | None = None
    lubricant: Literal["dry", "plated", "oil", "anti-seize", "as the manual says"] | None = None
    sequence: str | None = Field(default=None, max_length=200, description="order and steps")
    angle: str | None = Field(default=None, max_length=40, description='such as "90 deg"')
    wrench: str | None = Field(default=None, max_length=80, description="which wrench")
    wrench_span: str | None = Field(
        default=None, max_length=40, description='its range, such as "30 to 250 lbf·ft"'
    )
    calibrated: str | None = Field(default=None, max_length=40, description="of the wrench")
    wrench_length: str | None = Field(
        default=None, max_length=40, description="grip to the centre of its square drive"
    )
    crowfoot: str | None = Field(
        default=None, max_length=40, description="offset of a crowfoot in line with the wrench"
    )
    done: str | None = Field(default=None, max_length=80, description="by whom, when")
    second: str | None = Field(default=None, max_length=80, description="second person who looked")
