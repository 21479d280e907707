"""The casebook: append-only, durable, the same in SQLite and PostgreSQL."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from patience import PATIENCE_S
from witnessmark.casebook.files import Originals
from witnessmark.casebook.migrate import known_versions
from witnessmark.casebook.store import VERSION, Casebook
from witnessmark.errors import Conflict, EntryRefused, InputRefused, NotFound, TooLarge


def note(identity: str, words: str = "x") -> str:
    return json.dumps(
        {"kind": "note", "id": identity, "at": "2026-03-02T08:00:00Z", "data": {"words": words}}
    )


@pytest.fixture(params=["sqlite", "postgresql"])
def casebook(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Casebook]:
    if request.param == "sqlite":
        url = f"sqlite:///{tmp_path / 'casebook.sqlite'}"
    else:
        url = request.getfixturevalue("postgresql_url")
    book = Casebook(url)
    yield book
    book.close()


def test_lines_come_back_to_the_letter(casebook: Casebook) -> None:
    lines = [
        note("e1", "ü – µ  "),
        '{"kind":"note" , "id":"e2","at":"2026-03-02T08:00:00Z","data":{"words":"two  spaces"}}',
        '{"damaged',
    ]
    casebook.new_case("c1", lines)
    assert casebook.lines("c1") == lines
    assert [e.id for e in casebook.case("c1").entries] == ["e1", "e2"]
    assert len(casebook.case("c1").problems) == 1


def test_a_file_with_two_entries_of_one_id_is_taken_in_and_says_which_line(
    casebook: Casebook,
) -> None:
    lines = [note("e1", "first"), note("e1", "second"), note("e2"), "{damaged", note("e1", "third")]
    case = casebook.new_case("c1", lines)
    assert casebook.lines("c1") == lines, "nothing is lost"
    assert [e.line for e in case.entries] == [lines[0], lines[2]]
    second, _, third = case.problems
    assert (second.where, third.where) == ("line 2", "line 5")
    assert "'e1'" in second.what
    assert "Enter it again" in second.do
    assert casebook.line_of("c1", "e1") == lines[0]
    casebook.new_case("c1", lines)  # the same file again is the same save
    with pytest.raises(Conflict):
        casebook.append("c1", [note("e1", "second")])


def test_nothing_is_changed_or_deleted(casebook: Casebook) -> None:
    casebook.new_case("c1", [note("e1")])
    for statement in ("UPDATE lines SET line = 'x'", "DELETE FROM lines"):
        with pytest.raises(DatabaseError, match="never changed"), casebook._write() as connection:
            connection.execute(text(statement))
    assert casebook.lines("c1") == [note("e1")]


def test_a_save_sent_twice_is_stored_once(casebook: Casebook) -> None:
    casebook.new_case("c1")
    assert casebook.append("c1", [note("e1")]) == ["e1"]
    assert casebook.append("c1", [note("e1")]) == ["e1"]
    assert casebook.count("c1") == 1
    with pytest.raises(Conflict):
        casebook.append("c1", [note("e1", "something else")])


def test_all_or_nothing(casebook: Casebook) -> None:
    casebook.new_case("c1", [note("e1")])
    with pytest.raises(EntryRefused):
        casebook.append("c1", [note("e2"), "{damaged"])
    with pytest.raises(Conflict):
        casebook.append("c1", [note("e3"), note("e1", "other")])
    assert casebook.count("c1") == 1


def test_what_a_screening_found_is_one_row_a_file(casebook: Casebook) -> None:
    casebook.keep_screened({"a": ("a1", {"n": 1, "words": "ü"}), "b": ("b1", {"n": 2})})
    casebook.keep_screened({"a": ("a2", {"n": 3})})
    assert casebook.screened_ids() == {"a2", "b1"}
    assert casebook.screened() == [{"n": 3}, {"n": 2}]


def test_names_and_absence(casebook: Casebook) -> None:
    with pytest.raises(NotFound):
        casebook.case("nobody")
    with pytest.raises(NotFound):
        casebook.append("nobody", [note("e1")])
    for bad in ("", "a/b", "..", "x" * 81, "a b", "é"):
        with pytest.raises(InputRefused):
            casebook.new_case(bad)
    casebook.new_case("c1")
    with pytest.raises(Conflict):
        casebook.new_case("c1")


def test_two_tablets_write_at_once_and_both_are_kept(casebook: Casebook) -> None:
    casebook.new_case("c1")
    faults: list[BaseException] = []

    def write(tablet: int) -> None:
        try:
            for number in range(15):
                casebook.append("c1", [note(f"t{tablet}-{number}")])
        except BaseException as error:
            faults.append(error)

    threads = [threading.Thread(target=write, args=(n,)) for n in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=PATIENCE_S)
    assert faults == []
    ids = [e.id for e in casebook.case("c1").entries]
    assert sorted(ids) == sorted(f"t{t}-{n}" for t in range(3) for n in range(15))
    for tablet in range(3):  # each tablet's own order is kept
        own = [i for i in ids if i.startswith(f"t{tablet}-")]
        assert own == [f"t{tablet}-{n}" for n in range(15)]


def test_settings_and_files_are_remembered(casebook: Casebook) -> None:
    assert casebook.setting("rate") is None
    casebook.set_setting("rate", {"usd": 150})
    casebook.set_setting("rate", {"usd": 160})
    assert casebook.setting("rate") == {"usd": 160}
    casebook.note_file("a" * 64, "pull.log", 10)
    casebook.note_file("a" * 64, "again.log", 10)
    assert casebook.file_names() == {"a" * 64: "pull.log"}


def test_sqlite_is_set_up_to_lose_nothing(tmp_path: Path) -> None:
    book = Casebook(f"sqlite:///{tmp_path / 'casebook.sqlite'}")
    with book._read() as connection:
        assert connection.scalar(text("PRAGMA journal_mode")) == "wal"
        assert connection.scalar(text("PRAGMA synchronous")) == 2
    book.close()


def test_a_file_that_is_no_casebook_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "casebook.sqlite"
    path.write_bytes(b"this is no database, it is a text" * 100)
    with pytest.raises(InputRefused, match="could not be opened"):
        Casebook(f"sqlite:///{path}")
    assert path.read_bytes().startswith(b"this is no database")


def test_a_newer_casebook_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "casebook.sqlite"
    book = Casebook(f"sqlite:///{path}")
    book.new_case("c1", [note("e1")])
    book.close()
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE alembic_version SET version_num = '9999'")
    raw.close()
    with pytest.raises(InputRefused, match="newer version"):
        Casebook(f"sqlite:///{path}")


def test_originals_are_kept_once_and_read_only(tmp_path: Path) -> None:
    source = tmp_path / "a.log"
    source.write_bytes(b"123")
    originals = Originals(tmp_path / "recordings", limit=10)
    sha256, size = originals.store(source)
    assert (sha256, size) == originals.store(source)
    assert size == 3
    assert originals.path(sha256).read_bytes() == b"123"
    assert originals.path(sha256).stat().st_mode & 0o222 == 0
    source.write_bytes(b"x" * 11)
    with pytest.raises(TooLarge):
        originals.store(source)
    assert [p.name for p in (tmp_path / "recordings").iterdir()] == [sha256]
    for bad in ("../a.log", "x", sha256.upper()):
        with pytest.raises(InputRefused):
            originals.path(bad)


def test_the_version_is_the_newest_migration() -> None:
    assert max(known_versions()) == VERSION
