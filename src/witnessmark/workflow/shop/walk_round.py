"""The walk round: every look and test of a case once, in the order of the truck.

A check that several families list is one row; its result counts for each of them
(``inference/family/staged_evidence``). Where the places are and by which words a check is placed is
data (``packs/words/round.toml``).
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import witnessmark.knowledge
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.causes_and_tests import Test
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import TestData
from witnessmark.model.step import Step, forbidden_by

__all__ = ["Check", "Round", "walk_round"]

_FILE = Path(witnessmark.knowledge.__file__).parent / "packs" / "words" / "round.toml"
#: What a truck must be for a check, in the order in which it is come to.
_STATES = ("off", "key_on", "cranking", "running", "loaded", "lifted", "open")
_STATE_WORDS: Mapping[str, str] = {
    "off": "Engine off", "key_on": "Key on", "cranking": "Cranking", "running": "Engine running",
    "loaded": "Under load or on the road", "lifted": "Lifted", "open": "Something opened",
}  # fmt: skip
_KINDS = ("look", "code", "measure", "functional", "strip")


@dataclass(frozen=True, slots=True)
class Check:
    """One physical check.

    Attributes:
        test: the test that stands for it.
        options: (test id, result id, words): every result that one of its tests knows.
        chosen: (test id, result id) that is in the case, newest first; ``("", "")`` for none.
        families: families that it serves.
        quantity: the reading it yields; empty for none.
        barred: what a standing stop says against it; empty where none does.
        value: what was read at it, as it was written down.
        alike: ids of the other tests that it is.
    """

    test: Test
    options: tuple[tuple[str, str, str], ...]
    chosen: tuple[str, str]
    families: tuple[str, ...]
    quantity: str
    barred: str
    value: str = ""
    alike: tuple[str, ...] = ()

    @property
    def id(self) -> str:
        """Id of the test that stands for it."""
        return self.test.id

    @property
    def chosen_words(self) -> str:
        """What it came to, in words; empty where it was not made."""
        if not self.chosen[0]:
            return ""
        words = {(test, result): said for test, result, said in self.options}
        return words.get(self.chosen, "cannot tell" if self.chosen[1] == "maybe" else "made")


@dataclass(frozen=True, slots=True)
class Round:
    """The checks of one state of the truck: its words, and (place, checks) in walking order."""

    state: str
    words: str
    places: tuple[tuple[str, tuple[Check, ...]], ...]

    @property
    def count(self) -> int:
        """How many checks it has."""
        return sum(len(checks) for _, checks in self.places)


def walk_round(
    case: Case, knowledge: Knowledge, stops: Iterable[Step] = (), search: str = ""
) -> tuple[Round, ...]:
    """Return the looks and tests of a case, each physical check once, in the order of the truck.

    Args:
        case: the case.
        knowledge: the packs.
        stops: steps; the stops among them bar what they forbid.
        search: only checks that say all of these words.
    """
    standing = tuple(stops)
    wanted = search.lower().split()
    found: dict[tuple[str, str], list[Check]] = {}
    for alike in _checks(case, knowledge):
        check = _check(case, knowledge, alike, standing)
        said = " ".join((check.test.name, check.test.positive, *(t.name for t in alike))).lower()
        if all(word in said for word in wanted):
            found.setdefault((_state(check.test), _place(check.test.name)), []).append(check)
    order = [name for name, _ in _places()]
    return tuple(
        Round(
            state,
            _STATE_WORDS[state],
            tuple(
                (place, tuple(sorted(found[(state, place)], key=_first)))
                for place in order
                if (state, place) in found
            ),
        )
        for state in _STATES
        if any(s == state for s, _ in found)
    )


def _checks(case: Case, knowledge: Knowledge) -> list[list[Test]]:
    """Return the tests of the case's families, those that are the same check together."""
    groups: list[list[Test]] = []
    families = [knowledge.families[f] for f in case.families() if f in knowledge.families]
    for test in (t for f in families for t in f.tests):
        same = [g for g in groups if any(_same(test, other) for other in g)]
        merged = [t for g in same for t in g] + [test]
        groups = [g for g in groups if g not in same]
        groups.append(merged)
    return groups


def _same(one: Test, other: Test) -> bool:
    return one.id == other.id or other.id in one.same_as or one.id in other.same_as


def _check(case: Case, knowledge: Knowledge, alike: list[Test], stops: tuple[Step, ...]) -> Check:
    first = alike[0]
    options: dict[str, tuple[str, str, str]] = {}
    for test in alike:
        for result in test.outcomes:
            words = test.outcome_words.get(result) or _plain(result)
            key = words.lower() if result != test.outcomes[-1] else "last"
            options.setdefault(key, (test.id, result, words))
    nothing = options.pop("last", None)
    ids = {t.id for t in alike}
    made = [d for _, d in case.of(TestData) if d.test in ids]
    chosen = (made[-1].test, made[-1].result) if made else ("", "")
    stop = forbidden_by(stops, first.id, first.demands)
    families = [f.id for f in knowledge.families.values() if any(t.id in ids for t in f.tests)]
    return Check(
        first,
        (*options.values(), *((nothing,) if nothing else ())),
        chosen,
        tuple(f for f in families if f in case.families()),
        next((t.reading.quantity for t in alike if t.reading is not None), ""),
        stop.name if stop is not None else "",
        (made[-1].value or "") if made else "",
        tuple(t.id for t in alike[1:]),
    )


def _plain(result: str) -> str:
    return {"positive": "yes, bad", "negative": "no, good"}.get(result, result.replace("_", " "))


def _state(test: Test) -> str:
    state = test.rules.state
    needs = set(test.needs)
    if test.invasive or test.kind == "strip":
        return "open"
    if (state is not None and state.lifted) or "lifted" in needs:
        return "lifted"
    if (state is not None and (state.road or state.engine == "loaded")) or needs & {"road", "load"}:
        return "loaded"
    engine = state.engine if state is not None else ""
    if engine in {"idle", "running"} or needs & {"running", "warm"}:
        return "running"
    return engine if engine in _STATES else "off"


def _first(check: Check) -> tuple[int, float]:
    kind = check.test.kind
    return (_KINDS.index(kind) if kind in _KINDS else 2), check.test.minutes.typical


@lru_cache(maxsize=1)
def _places() -> tuple[tuple[str, re.Pattern[str] | None], ...]:
    rows = tomllib.loads(_FILE.read_text(encoding="utf-8"))["places"]
    return tuple(
        (
            row["name"],
            re.compile(r"\b(?:" + "|".join(map(re.escape, row["words"])) + r")\b", re.I)
            if row["words"]
            else None,
        )
        for row in rows
    )


@lru_cache(maxsize=4096)
def _place(name: str) -> str:
    """Return the place of a check; the last place is for what says no other's words."""
    counts = [(len(words.findall(name)) if words else 0, place) for place, words in _places()]
    most = max(n for n, _ in counts)
    return next(place for n, place in counts if n == most) if most else counts[-1][1]
