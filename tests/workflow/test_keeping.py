"""Backup, restore, check, erase: proven, and safe against a kill at any moment."""

from __future__ import annotations

import io
import json
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest

from witnessmark.casebook import beside
from witnessmark.errors import InputRefused, NotFound, StorageBusy, StorageDamaged
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.keeping import backup
from witnessmark.workflow.keeping.backup import back_up, last_backup, states
from witnessmark.workflow.keeping.check_shop import check_shop, note_place
from witnessmark.workflow.keeping.erase import ERASED, erase
from witnessmark.workflow.keeping.one_at_a_time import held_alone
from witnessmark.workflow.keeping.reminder import backup_reminder
from witnessmark.workflow.keeping.restore import restore
from witnessmark.workflow.papers.ask_customer import make_ask_page

AT = "2026-03-02T08:00:00Z"
ROOT = Path(__file__).resolve().parents[2]
NAME, PHONE, PLATE = "Invented Barley Hauling", "+1 (555) 010-0199", "XX 1234 ZZ"


def fill(shop: Shop, cases: int = 3) -> None:
    for number in range(cases):
        truck = {"label": f"unit {number}", "customer": NAME, "phone": PHONE, "plate": PLATE}
        words = f"call {NAME.lower()} at 555-010-0199 before the work"
        shop.new_case(
            f"c{number}",
            [
                entry_line("truck", truck, entry_id="t", at=AT),
                entry_line("note", {"words": words}, entry_id="n", at=AT),
                '{"kind":"note", damaged by hand, Invented  barley hauling',
            ],
        )
    sha256 = shop.store_file(io.BytesIO(b"\x00" * 5000 + b"recorded"), f"{NAME}.log")
    data = {"path": "pull.log", "sha256": sha256}
    shop.append("c0", [entry_line("recording", data, entry_id="r", at=AT)])


@pytest.fixture
def shop(tmp_path: Path):
    found = open_shop(tmp_path / "shop", create=True)
    fill(found)
    yield found
    found.close()


def everything(folder: Path) -> dict[str, str]:
    found = open_shop(folder)
    try:
        return {row.id: found.export(row.id) for row in found.list_cases()}
    finally:
        found.close()


def test_a_backup_brings_everything_back(shop: Shop, tmp_path: Path) -> None:
    (shop.folder / "packs").mkdir(exist_ok=True)
    (shop.folder / "packs" / "own.toml").write_text("# invented\n")
    made = back_up(shop, tmp_path / "away")
    assert (made.cases, made.entries, made.copied, made.kept) == (3, 10, 1, 0)
    found = restore(tmp_path / "away", tmp_path / "again")
    assert (found.cases, found.originals) == (3, 1)
    assert everything(tmp_path / "again") == everything(shop.folder)
    assert (tmp_path / "again" / "packs" / "own.toml").read_text() == "# invented\n"
    again = open_shop(tmp_path / "again")
    checked = check_shop(again)
    assert checked.faults == ()
    assert checked.originals == 1
    again.close()
    assert not any(p.stat().st_mode & 0o077 for p in (tmp_path / "again").rglob("*"))


def test_a_second_backup_copies_only_what_is_new_and_the_first_stays(
    shop: Shop, tmp_path: Path
) -> None:
    first = back_up(shop, tmp_path / "away")
    before = everything(shop.folder)
    shop.add("c1", "note", {"words": "later"})
    second = back_up(shop, tmp_path / "away")
    assert (second.copied, second.kept) == (0, 1)
    assert [s.name for s in states(tmp_path / "away")] == [second.state, first.state]
    restore(tmp_path / "away", tmp_path / "old", at=first.state)
    assert everything(tmp_path / "old") == before
    with pytest.raises(InputRefused, match="something in that folder"):
        restore(tmp_path / "away", tmp_path / "old")
    with pytest.raises(NotFound, match="no whole backup"):
        restore(tmp_path / "away", tmp_path / "x", at="nothing")
    with pytest.raises(InputRefused, match="own folder"):
        back_up(shop, shop.folder / "backup")
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letters.txt").touch()
    with pytest.raises(InputRefused, match="something else"):
        back_up(shop, tmp_path / "other")


def test_a_backup_while_others_write_holds_together(shop: Shop, tmp_path: Path) -> None:
    code = (
        "import sys\nfrom witnessmark.workflow.case.shop_on_disk import open_shop\n"
        "shop = open_shop(sys.argv[1])\nprint('ready', flush=True)\n"
        "for n in range(100000): shop.add('c1', 'note', {'words': f'entry {n}'})\n"
    )
    writer = subprocess.Popen(
        [sys.executable, "-c", code, str(shop.folder)],
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
    )
    try:
        assert writer.stdout is not None
        writer.stdout.readline()
        for _ in range(3):
            back_up(shop, tmp_path / "away")
    finally:
        writer.kill()
        writer.wait()
    counts = []
    for number, state in enumerate(states(tmp_path / "away")):
        restore(tmp_path / "away", tmp_path / f"r{number}", at=state.name)
        found = open_shop(tmp_path / f"r{number}")
        assert check_shop(found).faults == ()
        counts.append(found.casebook.count("c1"))
        found.close()
    assert counts == sorted(counts, reverse=True)
    assert counts[-1] >= 3


@pytest.mark.parametrize("what", ["backup", "restore"])
def test_a_kill_leaves_no_half_backup_and_no_half_shop(
    shop: Shop, tmp_path: Path, what: str
) -> None:
    for number in range(30):
        shop.store_file(io.BytesIO(os.urandom(200_000)), f"{number}.log")
    first = back_up(shop, tmp_path / "away")
    before = everything(shop.folder)
    draw = random.Random(7)
    killed = 0
    whole_s = 0.0
    for number in range(6):
        arguments = [str(shop.folder), str(tmp_path / "away")]
        if what == "restore":
            arguments = [str(tmp_path / "away"), str(tmp_path / f"r{number}"), "--at", first.state]
        elif number:
            shop.store_file(io.BytesIO(os.urandom(200_000)), f"new{number}.log")
        begun = time.monotonic()
        child = subprocess.Popen(
            [sys.executable, "-m", "witnessmark", what, *arguments],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(ROOT / "src")},
        )
        if number == 0:  # the first runs to its end and tells how long this machine needs
            assert child.wait() == 0
            whole_s = time.monotonic() - begun
            continue
        time.sleep(draw.uniform(0.3, 0.9) * whole_s)
        child.send_signal(signal.SIGKILL)
        killed += child.wait() == -signal.SIGKILL
        made = tmp_path / f"r{number}"
        if what == "restore" and made.exists():
            assert everything(made) == before, "whole or not there"
    assert killed
    for state in states(tmp_path / "away"):
        restore(tmp_path / "away", tmp_path / f"proof-{state.name}", at=state.name)
    back_up(shop, tmp_path / "away")
    assert not list((tmp_path / "away" / "states").glob(".making-*"))
    assert not list((tmp_path / "away" / "originals").glob(".incoming-*"))
    assert everything(shop.folder) == before


def test_a_clock_that_goes_backwards_loses_and_reorders_nothing(
    shop: Shop, tmp_path: Path, monkeypatch
) -> None:
    """Two servers on one shop, the clock an hour earlier with every write."""
    ahead = datetime(2030, 1, 1, tzinfo=UTC)
    count = iter(range(10_000))

    class Backwards(datetime):
        @classmethod
        def now(cls, tz=None):
            return (ahead - timedelta(hours=next(count))).astimezone(tz)

    for module in (beside, backup):
        monkeypatch.setattr(module, "datetime", Backwards)
    other = open_shop(shop.folder)
    made = []
    for number in range(12):
        name = f"back{number}"
        (shop, other)[number % 2].add(
            "c1", "note", {"words": "x"}, entry_id=name, at=f"20{40 - number}-01-01T00:00:00Z"
        )
        made.append(name)
        if number % 6 == 5:
            back_up(shop, tmp_path / "away")
    assert [e.id for e in shop.case("c1").entries if e.id.startswith("back")] == made
    added = [at for i, at, _ in shop.casebook.log("c1") if i in made]
    assert added == sorted(added, reverse=True), "the clock did go backwards"
    assert shop.list_cases()[0].id == "c1", "what was written last stands first"
    assert check_shop(shop).faults == ()
    newest = states(tmp_path / "away")[0]
    restore(tmp_path / "away", tmp_path / "again")
    monkeypatch.undo()
    again = open_shop(tmp_path / "again")
    assert [e.id for e in again.case("c1").entries][-12:] == made, newest.name
    again.close()
    other.close()


def test_two_backups_into_one_folder_wait_for_each_other(shop: Shop, tmp_path: Path) -> None:
    back_up(shop, tmp_path / "away")
    with (
        held_alone(tmp_path / "away" / ".lock"),
        pytest.raises(StorageBusy, match="Another backup"),
    ):
        back_up(shop, tmp_path / "away")
    back_up(shop, tmp_path / "away")


def test_damage_is_named_and_never_spreads(shop: Shop, tmp_path: Path, witnessmark) -> None:
    back_up(shop, tmp_path / "away")
    (original,) = (shop.folder / "recordings").iterdir()
    original.chmod(0o600)
    original.write_bytes(b"\x01" + original.read_bytes()[1:])
    faults = check_shop(shop).faults
    assert [p.what for p in faults] == ["Its bytes are not those that came in."]
    kept = back_up(shop, tmp_path / "away", verify=True)
    assert (kept.copied, kept.kept) == (0, 1), "the good copy stays"
    fresh = back_up(shop, tmp_path / "fresh")
    assert fresh.damaged == (original.name,)
    original.unlink()
    assert "missing" in check_shop(shop).faults[0].what
    run = witnessmark("check", shop.folder)
    assert run.returncode == 4
    assert "1 faults" in run.stdout
    copy = tmp_path / "away" / "originals" / original.name
    copy.chmod(0o600)
    copy.write_bytes(b"rotten")
    with pytest.raises(StorageDamaged, match="missing or damaged"):
        restore(tmp_path / "away", tmp_path / "again")
    assert not (tmp_path / "again").exists()


def test_a_changed_line_breaks_the_chain(shop: Shop) -> None:
    shop.close()
    with sqlite3.connect(shop.folder / "casebook.sqlite") as raw:
        raw.execute("DROP TRIGGER lines_no_update")
        raw.execute("DROP TRIGGER lines_no_delete")
        raw.execute("UPDATE lines SET line = replace(line, 'before', 'after') WHERE case_id='c1'")
        raw.execute("DELETE FROM lines WHERE case_id='c2' AND position=1")
    raw.close()
    again = open_shop(shop.folder)
    words = [f"{p.where}: {p.what}" for p in check_shop(again).faults]
    again.close()
    assert any(w.startswith("c1 line 2: The line is not the one") for w in words)
    assert any(w.startswith("c2: 3 lines were stored; 2 are here") for w in words)
    assert not any(w.startswith("c0") for w in words)


def test_a_copy_made_by_copying_files_is_told(shop: Shop, tmp_path: Path, witnessmark) -> None:
    note_place(shop)
    assert check_shop(shop).remarks == () or all(
        "copy" not in p.what for p in check_shop(shop).remarks
    )
    shutil.copytree(shop.folder, tmp_path / "copy")
    run = witnessmark("check", tmp_path / "copy", "--json")
    assert "file copy of a shop" in run.stdout
    torn = tmp_path / "torn"
    shutil.copytree(shop.folder, torn)
    shop.close()
    path = torn / "casebook.sqlite"
    for log in torn.glob("casebook.sqlite-*"):
        log.unlink()
    shutil.copy(shop.folder / "casebook.sqlite", path)
    with path.open("r+b") as book:  # half of it is from another moment
        size = path.stat().st_size
        book.seek(4096 * 3)
        book.write(os.urandom(min(4096 * 4, size - 4096 * 3)))
    run = witnessmark("check", torn)
    assert run.returncode in {2, 4}
    assert "Traceback" not in run.stderr
    assert "damaged" in run.stdout + run.stderr


def test_erasing_reaches_book_and_backups_and_the_chain_holds(shop: Shop, tmp_path: Path) -> None:
    back_up(shop, tmp_path / "away")
    found = erase(shop, "c0", words=(), backups=(tmp_path / "away",))
    assert found.states == 1
    assert found.cases == 3
    lines = shop.casebook.lines("c0")
    truck = json.loads(lines[0])["data"]
    assert truck == {"label": "unit 0", "customer": ERASED, "phone": ERASED, "plate": ERASED}
    assert json.loads(lines[1])["data"]["words"] == f"call {ERASED} at {ERASED} before the work"
    assert check_shop(shop).faults == ()
    shop.add("c0", "note", {"words": "goes on"})
    assert check_shop(shop).faults == ()
    shop.close()
    restore(tmp_path / "away", tmp_path / "again")
    stored = b""
    for folder in (shop.folder, tmp_path / "away", tmp_path / "again"):
        for path in folder.rglob("*"):
            stored += path.read_bytes() if path.is_file() else b""
    for secret in (NAME, PHONE, PLATE, "555-010-0199", "barley"):
        assert secret.lower().encode() not in stored.lower(), secret
    again = open_shop(tmp_path / "again")
    assert check_shop(again).faults == ()
    again.close()


def test_erasing_reaches_inspection_approval_and_the_pages_that_went_out(
    shop: Shop, tmp_path: Path
) -> None:
    name, address, who = "O'Rye & Sons Hauling (invented)", "9 Nowhere Lane, Notown", "Zeb Rye"
    truck = {"label": "unit 9", "customer": name, "phone": PHONE}
    lines = [{"what": f"pump, as {name} asked", "usd": 900, "kind": "part"}]
    head = {"vehicle": "truck", "carrier": name, "carrier_address": address}
    shop.new_case(
        "c9",
        [
            entry_line("truck", truck, entry_id="t", at=AT),
            entry_line("inspection", head, entry_id="i", at=AT),
            entry_line("quote", {"lines": lines, "total_usd": 900}, entry_id="q", at=AT),
        ],
    )
    html, asked = make_ask_page(shop, "c9")
    assert unescape(html).count(name)
    answer = {"by": who, "how": "phone", "quote": "q", "called": PHONE, "shown": asked.sha256}
    shop.add("c9", "approval", answer, entry_id="a")
    back_up(shop, tmp_path / "away")
    back_up(shop, tmp_path / "away")
    assert asked.sha256 in {p.name for p in (tmp_path / "away" / "originals").iterdir()}
    found = erase(shop, "c9", backups=(tmp_path / "away",))
    assert found.states == 2
    stored = b""
    for folder in (shop.folder, tmp_path / "away"):
        for path in folder.rglob("*"):
            stored += path.read_bytes() if path.is_file() else b""
    for secret in (name, "O&#39;Rye", "Nowhere Lane", who, PHONE):
        assert secret.encode() not in stored, secret
    assert asked.sha256 in shop.export("c9"), "which page it was can still be proven"
    assert check_shop(shop).faults == ()
    for state in states(tmp_path / "away"):
        restore(tmp_path / "away", tmp_path / state.name, at=state.name)
        again = open_shop(tmp_path / state.name)
        assert check_shop(again).faults == ()
        again.close()


def test_a_page_that_cannot_be_read_just_now_is_not_passed_over(shop: Shop, monkeypatch) -> None:
    lines = [{"what": "pump", "usd": 900, "kind": "part"}]
    shop.new_case(
        "c9",
        [
            entry_line("truck", {"label": "unit 9", "customer": NAME}, entry_id="t", at=AT),
            entry_line("quote", {"lines": lines, "total_usd": 900}, entry_id="q", at=AT),
        ],
    )
    _, asked = make_ask_page(shop, "c9")

    def away(_, sha256: str) -> Path:
        raise StorageBusy(f"The store of {sha256[:12]} cannot be reached.")

    with monkeypatch.context() as unreachable:
        unreachable.setattr(type(shop.originals), "path", away)
        with pytest.raises(StorageBusy):
            erase(shop, "c0")
    assert NAME in shop.export("c0")
    assert asked.sha256 in shop.originals


def test_erasing_asks_and_is_refused_for_everyday_words(shop: Shop, witnessmark) -> None:
    with pytest.raises(InputRefused, match="letters"):
        erase(shop, "c0", words=("at",))
    run = witnessmark("erase", shop.folder, "c0")
    assert run.returncode == 2
    assert NAME in shop.export("c0")


def test_the_page_reminds_of_the_backup(shop: Shop, tmp_path: Path, monkeypatch) -> None:
    assert backup_reminder(shop) == ""
    monkeypatch.setattr(
        type(shop.casebook), "first_opened", lambda _: "2026-01-01T00:00:00.000+00:00"
    )
    assert "no backup" in backup_reminder(shop)
    back_up(shop, tmp_path / "away")
    assert last_backup(shop) is not None
    assert backup_reminder(shop) == ""
    shop.casebook.set_setting("backup", {"at": "2026-01-01T00:00:00+00:00"})
    assert "days old" in backup_reminder(shop)
