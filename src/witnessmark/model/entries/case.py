"""A case: an append-only list of entries and what can be read off it without computing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from functools import cached_property
from types import MappingProxyType
from typing import Any, TypeVar

from witnessmark.errors import EntryRefused
from witnessmark.model.entries.entry import Entry, parse_entry
from witnessmark.model.entries.entry_data import (
    ComplaintData,
    Data,
    RetractData,
    TruckData,
    WorkData,
)
from witnessmark.model.problem import Problem

D = TypeVar("D", bound=Data)


@dataclass(frozen=True)
class Case:
    """A case as its lines say it. What is read off the entries is worked out once a case.

    Attributes:
        id: the case's own name.
        entries: every entry that could be read, in the order of the file.
        problems: what could not be read, and what was read with a remark.
        damaged: the lines that are no entries, exactly as they came in, by their position
            among all lines (0-based): nothing is lost.
    """

    id: str
    entries: tuple[Entry, ...]
    problems: tuple[Problem, ...] = ()
    damaged: tuple[tuple[int, str], ...] = ()

    def __getstate__(self) -> dict[str, Any]:
        """Pickle the fields alone: the rest is read off them again."""
        return {f.name: getattr(self, f.name) for f in fields(self)}

    def retracted(self) -> Mapping[str, Entry]:
        """Return entry id -> the retraction that hides it. A retraction can itself be retracted."""
        return self._retracted

    def live(self) -> tuple[Entry, ...]:
        """Return the entries that count: neither retracted nor retractions."""
        return self._live

    def of(self, kind: type[D]) -> Iterator[tuple[Entry, D]]:
        """Yield (entry, data) of every live entry whose data is a *kind*."""
        for entry in self._by_kind.get(kind, ()):
            if isinstance(entry.data, kind):
                yield entry, entry.data

    def stages(self) -> Mapping[str, int]:
        """Return entry id -> number of live work entries that stand before it."""
        return self._stages

    def works(self) -> int:
        """Return the number of live work entries: the stage that the truck is in now."""
        return len(self._by_kind.get(WorkData, ()))

    def truck(self) -> TruckData | None:
        """Return the truck as it was last described, ``None`` when it never was."""
        found = None
        for _, data in self.of(TruckData):
            found = data
        return found

    def complaints(self) -> list[tuple[Entry, ComplaintData]]:
        """Return the live complaints in order."""
        return list(self.of(ComplaintData))

    def families(self) -> tuple[str, ...]:
        """Return the families the complaints name, each once, in order."""
        return tuple(dict.fromkeys(f for _, c in self.complaints() for f in c.families))

    @cached_property
    def _retracted(self) -> Mapping[str, Entry]:
        hidden: dict[str, Entry] = {}
        for entry in reversed(self.entries):
            if isinstance(entry.data, RetractData) and entry.id not in hidden:
                hidden.setdefault(entry.data.entry, entry)
        return MappingProxyType(hidden)

    @cached_property
    def _live(self) -> tuple[Entry, ...]:
        hidden = self._retracted
        return tuple(
            e for e in self.entries if e.id not in hidden and not isinstance(e.data, RetractData)
        )

    @cached_property
    def _by_kind(self) -> Mapping[type, tuple[Entry, ...]]:
        found: dict[type, list[Entry]] = {}
        for entry in self._live:
            found.setdefault(type(entry.data), []).append(entry)
        return {kind: tuple(entries) for kind, entries in found.items()}

    @cached_property
    def _stages(self) -> Mapping[str, int]:
        count, stages = 0, {}
        for entry in self._live:
            stages[entry.id] = count
            if isinstance(entry.data, WorkData):
                count += 1
        return MappingProxyType(stages)


def read_case(identity: str, lines: Iterable[str], *, where: str = "") -> Case:
    """Read the lines of a case; a damaged line is a problem, the good lines are used.

    Args:
        identity: the case's name.
        lines: text lines, with or without their line ends.
        where: file name for the sentences.
    """
    entries: list[Entry] = []
    problems: list[Problem] = []
    damaged: list[tuple[int, str]] = []
    seen: set[str] = set()
    for number, raw in enumerate(lines):
        line = raw.rstrip("\r\n")
        place = f"{where} line {number + 1}".strip()
        if not line.strip():
            continue
        try:
            entry, remarks = parse_entry(
                line.removeprefix("\ufeff") if number == 0 else line, where=place
            )
            if entry.id in seen:
                raise EntryRefused(
                    f"The id '{entry.id}' was used before, so this {entry.kind} entry does not "
                    "count; the first one does.",
                    where=place,
                    do="The line is kept as it is. Enter it again: it then gets an id of its own.",
                )
        except EntryRefused as error:
            problems.append(Problem.of(error))
            damaged.append((number, line))
            continue
        seen.add(entry.id)
        entries.append(entry)
        problems.extend(remarks)
    problems.extend(_dangling(entries, where))
    return Case(identity, tuple(entries), tuple(problems), tuple(damaged))


def _dangling(entries: list[Entry], where: str) -> Iterator[Problem]:
    known = {entry.id for entry in entries}
    for entry in entries:
        if isinstance(entry.data, RetractData) and entry.data.entry not in known:
            yield Problem(
                f"{where} {entry.id}".strip(),
                f"It retracts '{entry.data.entry}', which is not in the case.",
                "Check the id of the entry that was meant.",
            )
