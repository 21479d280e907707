"""The technician's own list: suspects and tests for a complaint that no pack has."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, field_validator, model_validator

from witnessmark.model.entries.record_base import Record, slug

__all__ = ["OwnList", "OwnSuspect", "OwnTest", "Weight"]

Weight = Literal["most likely", "likely", "possible", "long shot"]


class OwnSuspect(Record):
    """One suspect that the technician names himself."""

    name: Annotated[str, StringConstraints(min_length=1, max_length=80)]
    weight: Weight = Field(default="possible", description="how he weighs it, in words")
    minutes: float | None = Field(default=None, ge=1, le=1e4, description="hands-on, to put right")
    usd: float | None = Field(default=None, ge=0, le=1e6, description="parts")
    caution: Annotated[str, StringConstraints(max_length=300)] | None = Field(
        default=None, description="what can hurt"
    )


class OwnTest(Record):
    """One test that would part the suspects, named by the technician."""

    name: Annotated[str, StringConstraints(min_length=1, max_length=120)]
    shows: tuple[Annotated[str, StringConstraints(min_length=1, max_length=80)], ...] = Field(
        min_length=1, max_length=12, description="names of the suspects that it would find"
    )
    minutes: float | None = Field(default=None, ge=1, le=1e4)
    caution: Annotated[str, StringConstraints(max_length=300)] | None = Field(
        default=None, description="what can hurt"
    )


class OwnList(Record):
    """The technician's own list for a complaint that no pack has: suspects, and what parts them."""

    called: Annotated[str, StringConstraints(min_length=1, max_length=80)] = Field(
        description="what the complaint is called, such as 'door will not close'"
    )
    suspects: tuple[OwnSuspect, ...] = Field(min_length=1, max_length=12)
    tests: tuple[OwnTest, ...] = Field(default=(), max_length=20)

    @property
    def family(self) -> str:
        """Return the id of the family that the list makes."""
        return f"own_{slug(self.called)}"

    @field_validator("suspects")
    @classmethod
    def _once(cls, value: tuple[OwnSuspect, ...]) -> tuple[OwnSuspect, ...]:
        if len({slug(s.name) for s in value}) != len(value):
            raise ValueError("a suspect stands twice")
        return value

    @model_validator(mode="after")
    def _known(self) -> OwnList:
        names = {slug(s.name) for s in self.suspects}
        for test in self.tests:
            if strange := [n for n in test.shows if slug(n) not in names]:
                raise ValueError(
                    f"the test '{test.name}' shows '{strange[0]}', which is no suspect"
                )
        if len({slug(t.name) for t in self.tests}) != len(self.tests):
            raise ValueError("a test stands twice")
        return self
