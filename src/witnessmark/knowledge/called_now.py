"""Ids that are no longer used: old entries and old packs of shops are read by what became of them.

The lines of a case stay as they came in; only what is computed from them uses the id of today. An
id that became several stands for the nearest of them; one that became nothing keeps its name, and
is told as unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from witnessmark.knowledge.records import Knowledge
from witnessmark.knowledge.rules import Retired
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ClueData, ComplaintData, TestData, WorkData

__all__ = ["as_called_now", "document_as_called_now"]


def as_called_now(case: Case, knowledge: Knowledge) -> Case:
    """Return a case with every retired id replaced by what it is called now.

    Args:
        case: the entries.
        knowledge: the packs, with what they have retired.
    """
    if not knowledge.retired:
        return case
    entries = tuple(_entry(entry, knowledge) for entry in case.entries)
    changed = any(new is not old for new, old in zip(entries, case.entries, strict=True))
    return replace(case, entries=entries) if changed else case


def _entry(entry: Entry, knowledge: Knowledge) -> Entry:
    data = entry.data
    now: dict[str, Any] = {}
    if isinstance(data, ComplaintData):
        now["families"] = tuple(knowledge.now("family", f) for f in data.families)
    elif isinstance(data, ClueData):
        now["clue"] = knowledge.now("clue", data.clue)
        now["cause"] = data.cause and knowledge.now("cause", data.cause)
    elif isinstance(data, WorkData):
        now["cause"] = data.cause and knowledge.now("cause", data.cause)
    elif isinstance(data, TestData):
        now["test"] = knowledge.now("test", data.test)
        gone = knowledge.retired.get(("test", data.test))
        now["result"] = gone.results.get(data.result, data.result) if gone else data.result
    elif isinstance(data, QuoteData):
        now["lines"] = tuple(
            line.model_copy(update={"cause": knowledge.now("cause", line.cause)})
            if line.cause and ("cause", line.cause) in knowledge.retired
            else line
            for line in data.lines
        )
    if all(getattr(data, key) == value for key, value in now.items()):
        return entry
    return replace(entry, data=data.model_copy(update=now))


#: What stands under these are results of tests, whatever they are called.
_RESULTS = frozenset({"outcomes", "outcome_words", "result", "results", "shows"})


def document_as_called_now(document: Any, retired: Iterable[Retired]) -> Any:
    """Return a shop's pack with every retired id, as a key or a value, by its name of today.

    What a pack itself retires keeps its name there.
    """
    became = {r.id: r.becomes[0] for r in retired if r.becomes}
    if not became or not isinstance(document, dict):
        return document
    kept = {k: v for k, v in document.items() if k == "retired"}
    return {**_renamed(document, became), **kept}


def _renamed(at: Any, became: Mapping[str, str]) -> Any:
    if isinstance(at, dict):
        new: dict[str, Any] = {}
        for key, value in at.items():
            told = value if key in _RESULTS else _renamed(value, became)
            new.setdefault(became.get(key, key), told)
        return new
    if isinstance(at, list):
        return [_renamed(value, became) for value in at]
    return became.get(at, at) if isinstance(at, str) else at
