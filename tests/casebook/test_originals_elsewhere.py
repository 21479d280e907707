"""Originals in a shared folder or another store: two servers, a store away, changed bytes."""

from __future__ import annotations

import hashlib
import io
import shutil
from pathlib import Path

import pytest

from witnessmark.errors import InputRefused, NotFound, StorageBusy, StorageDamaged
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.keeping.backup import back_up
from witnessmark.workflow.keeping.check_shop import check_shop
from witnessmark.workflow.keeping.restore import restore

AT = "2026-03-02T08:00:00Z"
CONTENT = b"an invented pull\n" * 9000
NAME = hashlib.sha256(CONTENT).hexdigest()


def shop_at(folder: Path, store: str) -> Shop:
    folder.mkdir(exist_ok=True)
    (folder / "shop.toml").write_text(f'originals = "{store}"\n', encoding="utf-8")
    return open_shop(folder, create=True)


@pytest.fixture
def far(tmp_path: Path) -> Path:
    return tmp_path / "far"


@pytest.fixture
def two(tmp_path: Path, far: Path):
    found = [shop_at(tmp_path / name, far.as_uri()) for name in ("one", "two")]
    yield found
    for shop in found:
        shop.close()


def test_what_one_server_took_in_another_reads(two, far: Path) -> None:
    one, other = two
    assert one.store_file(io.BytesIO(CONTENT), "pull.log") == NAME
    assert [p.name for p in far.iterdir()] == [NAME]
    assert NAME in other.originals
    assert not (other.folder / "recordings" / NAME).exists()
    path = other.originals.path(NAME)
    assert path.read_bytes() == CONTENT
    assert path.stat().st_mode & 0o777 == 0o400
    assert one.store_file(io.BytesIO(CONTENT), "again.log") == NAME
    assert [p.name for p in far.iterdir()] == [NAME]
    with pytest.raises(NotFound):
        other.originals.path("0" * 64)
    with pytest.raises(InputRefused):
        other.originals.path("../shop.toml")


def test_what_came_from_the_store_changed_is_not_used(two, far: Path) -> None:
    one, other = two
    one.store_file(io.BytesIO(CONTENT), "pull.log")
    (far / NAME).chmod(0o600)
    (far / NAME).write_bytes(CONTENT[:-1] + b"x")
    with pytest.raises(StorageDamaged, match="changed"):
        other.originals.path(NAME)
    assert not list((other.folder / "recordings").iterdir())
    other.casebook.note_file(NAME, "pull.log", len(CONTENT))
    assert "in the store are not those" in "".join(p.what for p in check_shop(other).faults)


def test_a_store_that_is_away_is_a_sentence_and_nothing_is_said_to_be_stored(two, far) -> None:
    one, other = two
    one.store_file(io.BytesIO(CONTENT), "pull.log")
    shutil.rmtree(far)
    far.write_text("no folder any more", encoding="utf-8")
    with pytest.raises(StorageBusy, match="store of the originals cannot be used"):
        one.store_file(io.BytesIO(b"another"), "b.log")
    assert hashlib.sha256(b"another").hexdigest() not in one.casebook.file_names()
    assert one.originals.path(NAME).read_bytes() == CONTENT  # what is here is still read
    one.new_case("c1", [entry_line("note", {"words": "goes on"}, entry_id="e", at=AT)])
    other.casebook.note_file(NAME, "pull.log", len(CONTENT))
    assert check_shop(other).faults


def test_a_backup_holds_what_lies_elsewhere(two, tmp_path: Path) -> None:
    one, other = two
    one.store_file(io.BytesIO(CONTENT), "pull.log")
    other.casebook.note_file(NAME, "pull.log", len(CONTENT))
    assert check_shop(other).faults == ()
    assert back_up(other, tmp_path / "away").missing == ()
    restore(tmp_path / "away", tmp_path / "again")
    assert (tmp_path / "again" / "recordings" / NAME).read_bytes() == CONTENT


def test_a_store_without_folders_and_stores_that_are_none(tmp_path: Path) -> None:
    shop = shop_at(tmp_path / "m", "memory://originals")
    shop.store_file(io.BytesIO(CONTENT), "pull.log")
    (shop.folder / "recordings" / NAME).unlink()
    assert shop.originals.path(NAME).read_bytes() == CONTENT
    shop.close()
    for wrong in ("nosuchkind://x", "s3://needs-a-driver"):
        with pytest.raises(InputRefused, match="store cannot be used"):
            shop_at(tmp_path / "w", wrong)
