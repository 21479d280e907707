"""Where the work on a case stands: what was done at this stage, and what waits for proof."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from witnessmark.knowledge import Family, Test
from witnessmark.knowledge.first_words.said_of_work import still_there
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import (
    ClueData,
    CodeData,
    NoteData,
    OutcomeData,
    ReadingData,
    RecordingData,
    TestData,
    WorkData,
)
from witnessmark.model.step import SEARCHED
from witnessmark.planner.order.facts import LOAD_ABOUT, NO_ANSWER, RPM_ABOUT, Facts, facts_of

__all__ = ["Progress", "progress"]


#: What holds one gauge against another: work on the machine does not touch it.
_COMPARED = "gauge_check_difference"
#: What says how it was before a work.
_MEASURES = TestData | ReadingData | RecordingData | CodeData


@dataclass(frozen=True, slots=True)
class Progress:
    """Where the work stands.

    Attributes:
        tests: test ids recorded since the last work, and those that found nothing before it:
            nothing has broken since, so they need no repeating. "Maybe" said twice of one test
            is its answer; a result that the test does not know is none.
        measured: (quantity, rpm) of the readings taken since the last work.
        repaired: cause ids whose part has been renewed, at any stage, once for each time.
        unmeasured: the last work entry, when nothing was measured, tested, recorded or heard
            since, and its own words do not say that it is still there; empty otherwise.
        proof_waits: whether the looks come before measuring again: nothing was measured, tested or
            recorded before that work, or what was told since says that it is still there.
        last_test: the test that was made last, when nothing was measured or driven since; what it
            has opened is still open.
        made: every test that gave a result, at any stage, once for each time.
        here: the same since the last work.
        searched: whether a note says that it was searched openly since the last work.
        facts: everything a rule can ask of.
        warm: whether the engine is warm by the latest reading, or by what the latest test needed.
    """

    tests: frozenset[str] = frozenset()
    measured: tuple[tuple[str, float | None], ...] = ()
    repaired: tuple[str, ...] = ()
    unmeasured: str = ""
    proof_waits: bool = False
    last_test: str = ""
    made: tuple[str, ...] = ()
    here: tuple[str, ...] = ()
    searched: bool = False
    warm: bool = False
    facts: Facts = field(default_factory=Facts)


def progress(
    case: Case,
    families: Iterable[Family] = (),
    findings: Iterable[str] = (),
    codes: Iterable[tuple[int, int]] = (),
) -> Progress:
    """Read the state of the work off the entries of *case*.

    Args:
        case: the entries.
        families: the families whose tests are meant, for what "nothing found" is called there.
        findings: codes of the findings that were seen in the present stage.
        codes: (SPN, FMI) of the trouble codes on the recordings of the present stage.
    """
    families = tuple(families)
    known = {t.id: t for f in families for t in f.tests}
    perhaps: set[str] = set()
    comparing = _comparing(families)
    gauges = {c.id for f in families for c in f.causes if c.zone == "gauge"}
    compared: dict[str, bool] = {}
    tests: dict[str, bool] = {}
    measured: list[tuple[str, float | None]] = []
    taken: list[ReadingData] = []
    repaired: list[str] = []
    made: list[str] = []
    begins, searched = 0, False
    unmeasured, warm, last_test = "", False, ""
    found_before, proof_waits = False, False
    for entry in case.live():
        data = entry.data
        if isinstance(data, WorkData):
            compared = {} if data.cause in gauges else compared
            tests = {t: found for t, found in tests.items() if not found} | compared
            measured.clear()
            taken.clear()
            perhaps.clear()
            begins, searched, proof_waits = len(made), False, not found_before
            unmeasured, warm, last_test = entry.id, False, ""
            if still_there(data.did):
                unmeasured = ""
            if data.cause:
                repaired.append(data.cause)
        elif (told := _made(data, known)) is not None:
            identity, result = told
            made.append(identity)
            unmeasured, last_test = "", identity
            test = known.get(identity)
            wants = test.needs if test is not None else ()
            warm = "cold" not in wants and (warm or "warm" in wants)
            if result != "maybe" or identity in perhaps:
                tests[identity] = result not in _nothing(test)
            else:
                perhaps.add(identity)
        elif isinstance(data, ReadingData):
            unmeasured, last_test = "", ""
            measured.append((data.quantity, data.point.rpm))
            taken.append(data)
            if data.quantity == _COMPARED:
                compared |= dict.fromkeys(comparing, False)
            if data.point.warm is not None:
                warm = data.point.warm
        elif isinstance(data, RecordingData | OutcomeData):
            unmeasured, last_test = "", ""
        elif isinstance(data, ClueData):
            proof_waits = proof_waits or data.seen is True
        elif isinstance(data, CodeData):
            proof_waits = proof_waits or data.active is not False
        elif isinstance(data, NoteData) and data.about == SEARCHED:
            searched = True
        if isinstance(data, _MEASURES) or _made(data, known) is not None:
            found_before = True
    return Progress(
        tests=frozenset(tests) | _seen_by_readings(families, taken),
        measured=tuple(measured),
        repaired=tuple(repaired),
        unmeasured=unmeasured,
        proof_waits=proof_waits,
        last_test=last_test,
        made=tuple(made),
        here=tuple(made[begins:]),
        searched=searched,
        warm=warm,
        facts=facts_of(case, families, findings, codes),
    )


def _made(data: object, known: Mapping[str, Test]) -> tuple[str, str] | None:
    """Return (test id, result) of a test that gave one; a look may be told as a clue.

    Args:
        data: of an entry.
        known: test id -> test, whose results count; a test of another family passes.
    """
    if isinstance(data, TestData):
        test = known.get(data.test)
        if test is None or data.result in {"positive", "negative", *test.outcomes, *NO_ANSWER}:
            return data.test, data.result
        return None
    if isinstance(data, ClueData) and data.clue in known:
        sight = {True: "positive", False: "negative"}
        return data.clue, sight[data.seen] if isinstance(data.seen, bool) else "maybe"
    return None


def _nothing(test: Test | None) -> tuple[str, ...]:
    """Return the results that say that a test found nothing."""
    return ("negative",) if test is None else ("negative", test.outcomes[-1])


def _comparing(families: Iterable[Family]) -> frozenset[str]:
    """Return the tests that hold one gauge against another."""
    return frozenset(
        t.id
        for f in families
        for t in f.tests
        if t.reading is not None and t.reading.quantity == _COMPARED
    )


def _seen_by_readings(families: Iterable[Family], taken: Sequence[ReadingData]) -> frozenset[str]:
    """Return the tests that see with one threshold what readings since the work have shown whole.

    Only where a physical model weighs those readings.
    """

    def read(quantity: str, rpm: float, load: float, cold: bool) -> bool:
        return any(
            d.quantity == quantity
            and (quantity == _COMPARED or abs((d.point.rpm or 0.0) - rpm) <= RPM_ABOUT)
            and abs((d.point.fraction() or 0.0) - load) <= LOAD_ABOUT
            and (d.point.warm is False) == cold
            for d in taken
        )

    return frozenset(
        test
        for f in families
        for m in f.measurements
        if m.modelled_by and all(read(*r, m.cold) for r in m.readings)
        for test in m.covers
    )
