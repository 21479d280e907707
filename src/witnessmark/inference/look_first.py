"""Dear parts that wait for a cheap look, because something cheap beside them looks the same.

A leaking seat of the relief valve and worn gears both let fuel run back inside the pump; every
gauge shows the same for both. The valve is looked at in an hour, the pump is dear. So as long as
nobody has had the valve in his hands the pump is never called decided, whatever its probability.
A pack says so by a cause's ``look_first`` with a ``twin``.
"""

from __future__ import annotations

from dataclasses import dataclass

from witnessmark.inference.family.staged_evidence import StagedEvidence
from witnessmark.knowledge import Family

__all__ = ["LookWaiting", "OneWord", "looks_waiting", "parts_seen_bad"]


@dataclass(frozen=True, slots=True)
class LookWaiting:
    """A part that waits for a look at another.

    Attributes:
        cause: the dear cause.
        twin: the cheap cause that looks the same.
        test: the test that looks at it.
        words: why, after the dear cause's name.
        short: the same for a step or an estimate.
    """

    cause: str
    twin: str
    test: str
    words: str
    short: str


@dataclass(frozen=True, slots=True)
class OneWord:
    """Everything that was read so far is one instrument's word.

    Attributes:
        cause: the cause that a false instrument is.
        checks: the measurements and tests that hold another instrument against it.
        high: it read more than a healthy truck shows, which a worn part hardly does.
    """

    cause: str
    checks: tuple[str, ...]
    high: bool = False


def looks_waiting(family: Family, evidence: StagedEvidence) -> tuple[LookWaiting, ...]:
    """Return the looks that have still to be taken, with the causes that wait for them.

    A look counts in whatever state of the truck it was taken, and so does work on the part: it
    was in somebody's hands. "Maybe" is no look. A look that its own pack does not offer any more
    after what another test showed (``not_if``) is not waited for: nobody could take it.
    """
    now = evidence.stages[-1].tests if evidence.stages else ()
    got = {t.test: t.result for t in now}
    seen = {t.test for s in evidence.stages for t in s.tests if t.result != "maybe"}
    seen |= {test for test, result in evidence.read if result != "maybe"}
    handled = {s.work.cause for s in evidence.stages if s.work is not None}
    return tuple(
        LookWaiting(cause.id, look.twin, look.test, look.words, look.short)
        for cause in family.causes
        for look in cause.look_first
        if look.twin
        and look.test not in seen
        and look.twin not in handled
        and (test := family.test(look.test)) is not None
        and not any(
            asked.kind == "test" and got.get(identity, "") in asked.results
            for asked in test.rules.not_if
            for identity in asked.ids
        )
    )


def parts_seen_bad(family: Family, evidence: StagedEvidence) -> frozenset[str]:
    """Return the causes whose part a look of the pack has shown bad since the latest work.

    A result that only clears something else (``negative``) shows nothing of the part itself.
    """
    now = evidence.stages[-1].tests if evidence.stages else ()
    got = {t.test: t.result for t in now}
    return frozenset(
        cause.id
        for cause in family.causes
        for look in cause.look_first
        if not look.twin and got.get(look.test, "negative") in set(look.shows) - {"negative"}
    )
