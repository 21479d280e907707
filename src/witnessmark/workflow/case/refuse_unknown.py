"""Ids that no pack knows are refused at entry, with the nearest valid ones.

A line that is in a case already, or comes with a whole case from elsewhere, is kept as it is: there
``check_ids`` tells it as a problem.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches
from pathlib import Path

from witnessmark.errors import EntryRefused
from witnessmark.inference.family.staged_evidence import NO_ANSWER
from witnessmark.inference.models import question_at_entry
from witnessmark.knowledge import Knowledge, Test, load_knowledge
from witnessmark.knowledge.called_now import as_called_now
from witnessmark.knowledge.own.own_family import with_own_lists
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ClueData, ReadingData, TestData
from witnessmark.words.strength import listed

__all__ = ["known_looks", "packs_in", "refuse_unknown"]

#: Results that every test has.
_ANY = ("positive", "negative", "maybe")
_NEAREST = 3


def packs_in(folder: Path) -> tuple[Path, ...]:
    """Return a shop's own packs by name, after them what the owner has changed on the page."""
    packs = folder / "packs"
    if not packs.is_dir():
        return ()
    return tuple(sorted(packs.glob("*.toml"), key=lambda p: (p.name.startswith("own-"), p.name)))


def refuse_unknown(folder: Path, case: Case, entries: Iterable[Entry]) -> None:
    """Refuse a clue, a test or a result that neither the packs nor the case's own lists know.

    Args:
        folder: the shop's folder.
        case: the case that the entries are meant for.
        entries: what is to be added; other kinds pass.

    Raises:
        EntryRefused: one of them names what nobody knows, or a model asks what a reading means;
            nothing was added.
    """
    _refuse_doubtful(case, entries := tuple(entries))
    asked = [entry for entry in entries if isinstance(entry.data, ClueData | TestData)]
    if not asked:
        return
    knowledge = with_own_lists(load_knowledge(packs_in(folder)), case)
    for entry in as_called_now(Case(case.id, tuple(asked)), knowledge).entries:
        _refuse(entry, knowledge)


def _refuse_doubtful(case: Case, entries: tuple[Entry, ...]) -> None:
    """Refuse a reading that cannot be as it is written, with the question that settles it."""
    fresh = frozenset(e.id for e in entries if isinstance(e.data, ReadingData))
    if not fresh:
        return
    question = question_at_entry(Case(case.id, (*case.entries, *entries)), fresh)
    if question is not None:
        raise EntryRefused(question.what, where=question.where, do=question.do)


def known_looks(folder: Path) -> tuple[set[str], dict[str, tuple[str, ...]]]:
    """Return the ids that a clue may have in a shop, and test -> its results."""
    knowledge = load_knowledge(packs_in(folder))
    tests = {t.id: _results(t) for f in knowledge.families.values() for t in f.tests}
    return {*knowledge.conditions, *tests}, tests


def _refuse(entry: Entry, knowledge: Knowledge) -> None:
    data = entry.data
    if isinstance(data, ClueData):
        # A test that looks at something may be told as a clue.
        if data.clue not in knowledge.conditions and knowledge.test(data.clue) is None:
            known = [*knowledge.conditions, *_tests(knowledge)]
            raise _unknown("clue", data.clue, known, where="clue")
    elif isinstance(data, TestData):
        test = knowledge.test(data.test)
        if test is None:
            raise _unknown("test", data.test, _tests(knowledge), where="test")
        results = _results(test)
        if data.result not in results:
            near = get_close_matches(data.result, results, n=_NEAREST) or list(results)
            raise EntryRefused(
                f"'{data.result[:60]}' is not a result of the test '{data.test}'. "
                "Nothing was added.",
                where="result",
                do=f"Use {_quoted(near)}.",
            )


def _results(test: Test) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*test.outcomes, *_ANY, *sorted(NO_ANSWER))))


def _tests(knowledge: Knowledge) -> list[str]:
    return [t.id for f in knowledge.families.values() for t in f.tests]


def _quoted(names: list[str]) -> str:
    return listed([f"'{name}'" for name in names], "or")


def _unknown(what: str, name: str, known: list[str], *, where: str) -> EntryRefused:
    near = get_close_matches(name, dict.fromkeys(known), n=_NEAREST)
    do = "See the list on the knowledge page, or of 'witnessmark pack list'."
    if near:
        do = f"Did you mean {_quoted(near)}?"
    return EntryRefused(
        f"'{name[:60]}' is not a {what} that the packs know. Nothing was added.", where=where, do=do
    )
