"""Conditions that a stop, a step or a case asks of what is known: one kind of fact each."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from witnessmark.knowledge.parts.part_base import Chance, Id, PackPart, PointWindow, Words

__all__ = ["CHECK_KINDS", "CheckPart", "ClueGiven", "CodeGiven", "ReadingGiven", "TestGiven"]

#: The kinds of fact that a condition can ask for; the interpreter knows these and no others.
CHECK_KINDS = ("at_fault", "clue", "test", "reading", "spn", "finding", "work", "all", "any")


class CheckPart(PointWindow):
    """One condition: exactly one of at_fault, clue, test, reading, spn, finding, work, all, any."""

    at_fault: tuple[Id, ...] | None = Field(
        default=None, description="causes: holds once one of them is likely enough, see `from`"
    )
    from_: Chance | None = Field(
        default=None, alias="from", description="with `at_fault`: from this P(any of them) on"
    )
    clue: Id | None = Field(default=None, description="a condition that was looked at")
    seen: bool = Field(default=True, description="with `clue`: whether it has to be seen or absent")
    test: Id | None = Field(default=None, description="a test that was made")
    result: Id | tuple[Id, ...] | None = Field(
        default=None, description="with `test`: the result, or the results any of which will do"
    )
    or_not_run: bool = Field(
        default=False, description="with `test`: holds as well as long as the test was not made"
    )
    reading: Id | None = Field(default=None, description="a quantity that was read")
    above: str | None = Field(
        default=None, description="with `reading`: above this, as text with its unit"
    )
    below: str | None = Field(
        default=None, description="with `reading`: below this, as text with its unit"
    )
    unless: Id | None = Field(
        default=None,
        description="with `reading`: a quantity whose reading at the same point can refute it",
    )
    unless_below: str | None = Field(
        default=None, description="with `unless`: it is refuted where that read below this"
    )
    spn: int | None = Field(default=None, ge=0, le=524287, description="number of a trouble code")
    fmi: tuple[Annotated[int, Field(ge=0, le=31)], ...] = Field(
        default=(), description="with `spn`: its failure modes; left out: any"
    )
    finding: Id | None = Field(
        default=None, description="code of a finding that was seen, see docs/findings.md"
    )
    work: Id | None = Field(default=None, description="cause whose part was repaired since")
    all: tuple[CheckPart, ...] | None = Field(
        default=None, description="conditions every one of which holds"
    )
    any: tuple[CheckPart, ...] | None = Field(
        default=None, description="conditions one of which holds"
    )
    words: Words | None = Field(default=None, description="the condition in words")

    @model_validator(mode="after")
    def _one_kind(self) -> CheckPart:
        given = [k for k in CHECK_KINDS if getattr(self, k) is not None]
        if len(given) != 1:
            raise ValueError(f"a condition has exactly one of {', '.join(CHECK_KINDS)}")
        if (self.from_ is None) != (self.at_fault is None):
            raise ValueError("'at_fault' and 'from' stand together")
        if (self.test is None) != (self.result is None):
            raise ValueError("'test' and 'result' stand together")
        if (self.reading is not None) != (self.above is not None or self.below is not None):
            raise ValueError("'reading' needs 'above', 'below' or both, and they need a reading")
        if (self.unless is None) != (self.unless_below is None) or (
            self.unless and not self.reading
        ):
            raise ValueError("'unless' and 'unless_below' stand together, beside a 'reading'")
        return self


class ClueGiven(PackPart):
    """A clue of a pack's own case."""

    clue: Id = Field(description="condition id")
    seen: bool | Literal["maybe"] = Field(
        default=True, description='true when left out; false; or `"maybe"`'
    )
    cause: Id | None = Field(default=None, description="for a part-scoped one: whose part")


class TestGiven(PackPart):
    """A test result of a pack's own case."""

    __test__ = False

    test: Id = Field(description="test id")
    result: Id = Field(description="its result")


class ReadingGiven(PackPart):
    """A reading of a pack's own case."""

    quantity: Id = Field(description="name in the quantity table")
    value: Words = Field(description="as text with its unit")
    rpm: float | None = Field(default=None, description="engine speed it was read at")
    load: float | None = Field(default=None, description="load in percent")


class CodeGiven(PackPart):
    """A trouble code of a pack's own case."""

    spn: int = Field(ge=0, le=524287, description="number of the trouble code")
    fmi: int = Field(ge=0, le=31, description="its failure mode")
