"""What is offered, agreed to and ordered: estimate, the customer's answer, parts on their way."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, model_validator

from witnessmark.model.entries.record_base import Id, Name, Record, Words

__all__ = [
    "ApprovalData",
    "LineAnswer",
    "LineSort",
    "PartData",
    "QuoteData",
    "QuoteLine",
    "Risk",
]

LineSort = Literal["labour", "part", "core", "sublet", "supplies", "fee", "tax"]
Risk = Literal["do not drive", "soon", "watch"]
_Day = Annotated[str, StringConstraints(max_length=40)]


class QuoteLine(Record):
    """One line of an estimate. Without a kind its minutes are labour and its price is a part."""

    what: Name
    minutes: float | None = Field(default=None, ge=0, le=1e5)
    usd: float | None = Field(default=None, ge=0, le=1e7)
    cause: Id | None = None
    kind: LineSort | None = None
    condition: Literal["new", "rebuilt", "used"] | None = Field(
        default=None, description="of a part"
    )
    quantity: float | None = Field(
        default=None, gt=0, le=1e5, description="where the price is that of one"
    )
    percent: float | None = Field(
        default=None, ge=0, le=100, description="of a tax, or of supplies: on the lines of `on`"
    )
    on: tuple[LineSort, ...] | None = Field(
        default=None, max_length=7, description="kinds that the percentage is taken on"
    )
    stage: str | None = Field(
        default=None, max_length=80, description='such as "find out first" and "then decide"'
    )
    number: str | None = Field(default=None, max_length=80, description="part number")
    vendor: str | None = Field(default=None, max_length=120)
    risk: Risk | None = Field(default=None, description="what it means to leave it undone")

    @model_validator(mode="after")
    def _whole(self) -> QuoteLine:
        if self.percent is not None and self.kind not in {"tax", "supplies", "fee"}:
            raise ValueError("a percentage stands on a line of the kind tax, supplies or fee")
        if self.percent is not None and self.usd is not None:
            raise ValueError("a line has a price or a percentage, not both")
        if self.condition is not None and self.kind not in {None, "part"}:
            raise ValueError("only a part is new, rebuilt or used")
        return self


class QuoteData(Record):
    """An estimate as it was given to the customer; ``final``: the lines as they are billed."""

    lines: tuple[QuoteLine, ...]
    total_usd: float | None = Field(default=None, ge=0, le=1e8)
    limit_usd: float | None = Field(default=None, ge=0, le=1e8)
    expires: str | None = Field(default=None, max_length=40)
    replaces: Id | None = Field(default=None, description="the estimate that this one revises")
    promised: _Day | None = Field(default=None, description="day the truck is promised for")
    final: bool = Field(default=False, description="true: what is billed, not what is estimated")


class LineAnswer(Record):
    """The customer's answer to one line of an estimate, counted from 1."""

    line: int = Field(ge=1, le=400)
    granted: bool
    limit_usd: float | None = Field(default=None, ge=0, le=1e8)
    risk: Risk | None = None
    words: Words | None = None


class ApprovalData(Record):
    """Who agreed to what, how and up to which amount; or refused it."""

    by: Name
    how: Name
    granted: bool = True
    quote: Id | None = None
    limit_usd: float | None = Field(default=None, ge=0, le=1e8)
    words: Words | None = None
    lines: tuple[LineAnswer, ...] | None = Field(
        default=None, max_length=400, description="answers line by line; the others as `granted`"
    )
    called: str | None = Field(default=None, max_length=60, description="number that was called")
    risk: Risk | None = Field(default=None, description="of what was refused")
    evidence: Id | None = Field(
        default=None, description="photo or recording entry that shows the answer"
    )
    shown: Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")] | None = Field(
        default=None, description="sha256 of the page that the customer saw, stored whole"
    )


class PartData(Record):
    """Where a part stands: what is needed, ordered, promised, here, gone back."""

    name: Name
    state: Literal["needed", "ordered", "promised", "arrived", "returned", "core returned"]
    on: _Day | None = Field(default=None, description="day of it; of `promised`: the day promised")
    cause: Id | None = Field(default=None, description="the job it is for")
    number: str | None = Field(default=None, max_length=80, description="part number")
    vendor: str | None = Field(default=None, max_length=120)
    available: Literal["here", "today", "day", "week"] | None = Field(
        default=None, description="how far away it is; the next step counts the wait"
    )
    quantity: float = Field(default=1, gt=0, le=1e5)
    usd: float | None = Field(default=None, ge=0, le=1e7)
    core_usd: float | None = Field(default=None, ge=0, le=1e7)
    core_due: _Day | None = Field(default=None, description="day the old part must be back")
    condition: Literal["new", "rebuilt", "used"] | None = None
    words: Words | None = None
