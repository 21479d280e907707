"""Where the work on a case stands: what was done at this stage, and what waits for proof."""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.model.case import Case
from witnessmark.model.entry_data import (
    OutcomeData,
    ReadingData,
    RecordingData,
    TestData,
    WorkData,
)

__all__ = ["Progress", "progress"]


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the work stands.

    Attributes:
        tests: test ids recorded since the last work; they need no repeating.
        measured: (quantity, rpm) of the readings taken since the last work.
        tests_before: test ids recorded before the last work.
        repaired: cause ids whose part has been renewed, at any stage, once for each time.
        unmeasured: the last work entry, when nothing was measured, tested, recorded or heard
            since; empty otherwise.
        warm: whether the latest reading says that the engine is warm.
    """

    tests: frozenset[str] = frozenset()
    measured: tuple[tuple[str, float | None], ...] = ()
    tests_before: frozenset[str] = frozenset()
    repaired: tuple[str, ...] = ()
    unmeasured: str = ""
    warm: bool = False


def progress(case: Case) -> Progress:
    """Read the state of the work off the entries of *case*."""
    tests: set[str] = set()
    measured: list[tuple[str, float | None]] = []
    before: set[str] = set()
    repaired: list[str] = []
    unmeasured, warm = "", False
    for entry in case.live():
        data = entry.data
        if isinstance(data, WorkData):
            before |= tests
            tests.clear()
            measured.clear()
            unmeasured, warm = entry.id, False
            if data.cause:
                repaired.append(data.cause)
        elif isinstance(data, TestData):
            unmeasured = ""
            if data.result != "maybe":
                tests.add(data.test)
        elif isinstance(data, ReadingData):
            unmeasured = ""
            measured.append((data.quantity, data.point.rpm))
            if data.point.warm is not None:
                warm = data.point.warm
        elif isinstance(data, RecordingData | OutcomeData):
            unmeasured = ""
    return Progress(
        tests=frozenset(tests),
        measured=tuple(measured),
        tests_before=frozenset(before),
        repaired=tuple(repaired),
        unmeasured=unmeasured,
        warm=warm,
    )
