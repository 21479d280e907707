"""Whatever is done to a casebook in whatever order, it holds what was acknowledged, chained."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import Bundle, RuleBasedStateMachine, consumes, invariant, rule

from witnessmark.casebook.chain import broken
from witnessmark.casebook.store import Casebook
from witnessmark.errors import Conflict, EntryRefused, NotFound
from witnessmark.workflow.case.shop_on_disk import entry_line

AT = "2026-03-02T08:00:00Z"
WORDS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cf", "Cs"]), max_size=30)
IDS = st.sampled_from(["e1", "e2", "e3", "e4", "e5"])
NAMES = st.sampled_from(["c1", "c2", "c3"])


def note(entry_id: str, words: str) -> str:
    return entry_line("note", {"words": words}, entry_id=entry_id, at=AT)


class AnyOrder(RuleBasedStateMachine):
    """Two programs on one file, held against plain lists."""

    sent = Bundle("sent")

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(prefix="any-order-"))
        self.url = f"sqlite:///{self.folder / 'casebook.sqlite'}"
        self.books = [Casebook(self.url), Casebook(self.url)]
        self.cases: dict[str, list[str]] = {}
        self.settings: dict[str, str] = {}
        self.counts: dict[str, int] = {}

    def teardown(self) -> None:
        for book in self.books:
            book.close()
        shutil.rmtree(self.folder)

    @rule(name=NAMES, words=WORDS, which=st.integers(0, 1))
    def open_case(self, name: str, words: str, which: int) -> None:
        lines = [note("e1", words)]
        if name in self.cases and self.cases[name] != lines:
            with pytest.raises(Conflict):
                self.books[which].new_case(name, lines)
        else:
            self.books[which].new_case(name, lines)
            self.cases[name] = lines

    @rule(target=sent, name=NAMES, entry_id=IDS, words=WORDS, which=st.integers(0, 1))
    def add(self, name: str, entry_id: str, words: str, which: int):
        line = note(entry_id, words)
        self._append(name, entry_id, line, which)
        return name, entry_id, line

    @rule(again=consumes(sent), which=st.integers(0, 1))
    def send_again(self, again: tuple[str, str, str], which: int) -> None:
        self._append(*again, which)

    @rule(name=NAMES, which=st.integers(0, 1), bad=st.sampled_from(["{", "[]", '{"kind":"x"}']))
    def add_nonsense(self, name: str, which: int, bad: str) -> None:
        with pytest.raises((EntryRefused, NotFound)):
            self.books[which].append(name, [note("e9", "good"), bad])

    @rule(name=NAMES, which=st.integers(0, 1))
    def erase(self, name: str, which: int) -> None:
        if not self.cases.get(name):
            return
        line = note("e1", "erased")
        if '"id":"e1"' in self.cases[name][0]:
            self.books[which].erase(name, {0: line})
            self.cases[name] = [line, *self.cases[name][1:]]

    @rule(key=st.sampled_from("ab"), value=WORDS, which=st.integers(0, 1))
    def set_up(self, key: str, value: str, which: int) -> None:
        self.books[which].set_setting(key, value)
        self.settings[key] = value

    @rule(which=st.integers(0, 1))
    def open_anew(self, which: int) -> None:
        self.books[which].close()
        self.books[which] = Casebook(self.url)

    @invariant()
    def holds(self) -> None:
        for book in self.books:
            assert {row.id: row.lines for row in book.cases()} == {
                name: len(lines) for name, lines in self.cases.items()
            }
            for name, lines in self.cases.items():
                assert book.lines(name) == lines
                assert broken(name, book.chain(name)) == []
                count = book.state(name)[1]
                assert count >= self.counts.get(name, 0)
                self.counts[name] = count
            assert all(book.setting(k) == v for k, v in self.settings.items())

    def _append(self, name: str, entry_id: str, line: str, which: int) -> None:
        book, held = self.books[which], self.cases.get(name)
        if held is None:
            with pytest.raises(NotFound):
                book.append(name, [line])
        elif line in held:
            assert book.append(name, [line]) == [entry_id]
        elif any(f'"id":"{entry_id}"' in other for other in held):
            with pytest.raises(Conflict):
                book.append(name, [line])
        else:
            assert book.append(name, [line]) == [entry_id]
            self.cases[name] = [*held, line]


AnyOrder.TestCase.settings = settings(
    max_examples=12,
    stateful_step_count=25,
    deadline=None,
    database=None,
    suppress_health_check=list(HealthCheck),
)
test_any_order = AnyOrder.TestCase
