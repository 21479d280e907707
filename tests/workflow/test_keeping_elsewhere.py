"""Backup and restore where a file that cannot be written can be neither replaced nor removed.

Windows refuses both (documented for DeleteFile and MoveFileEx: "access denied" for a read-only
file). Here the same refusal is put over this system's own; never run on a real Windows machine.
"""

from __future__ import annotations

import io
from pathlib import Path

import pytest

from witnessmark import machine
from witnessmark.workflow.case.shop_on_disk import entry_line, open_shop
from witnessmark.workflow.keeping.backup import back_up, states
from witnessmark.workflow.keeping.restore import restore

AT = "2026-03-02T08:00:00Z"


@pytest.fixture
def elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    unlink, replace = Path.unlink, Path.replace

    def refuse(path: Path) -> None:
        if path.exists() and not path.stat().st_mode & 0o200:
            raise PermissionError(13, "Access is denied", str(path))

    def unlinked(self: Path, missing_ok: bool = False) -> None:
        refuse(self)
        unlink(self, missing_ok=missing_ok)

    def replaced(self: Path, target: Path) -> Path:
        refuse(Path(target))
        return replace(self, target)

    monkeypatch.setattr(machine, "posix", lambda: False)
    monkeypatch.setattr(Path, "unlink", unlinked)
    monkeypatch.setattr(Path, "replace", replaced)


@pytest.mark.usefixtures("elsewhere")
def test_a_shop_is_backed_up_mended_and_brought_back(tmp_path: Path) -> None:
    shop = open_shop(tmp_path / "shop", create=True)
    away = tmp_path / "away"
    try:
        shop.new_case("c0", [entry_line("note", {"words": "invented"}, entry_id="n", at=AT)])
        sha256 = shop.store_file(io.BytesIO(b"recorded"), "a.log")
        assert shop.store_file(io.BytesIO(b"recorded"), "b.log") == sha256, "the second is let go"
        shop.append("c0", [entry_line("recording", {"path": "a.log", "sha256": sha256}, at=AT)])
        (shop.folder / "packs").mkdir(exist_ok=True)
        (shop.folder / "packs" / "own.toml").write_text("# invented\n", encoding="utf-8")
        back_up(shop, away)
        kept = away / "originals" / sha256
        kept.chmod(0o600)
        kept.write_bytes(b"damaged!")
        kept.chmod(0o400)
        left = away / "originals" / ".incoming-x"
        left.write_bytes(b"")
        left.chmod(0o400)
        again = back_up(shop, away, verify=True)
        assert (again.copied, again.damaged) == (1, ())
        assert kept.read_bytes() == b"recorded"
        assert not left.exists()
        named = set(states(away)[0].manifest["files"])
        assert "packs/own.toml" in named, "names are the same on every system"
        text = shop.export("c0")
    finally:
        shop.close()
    restore(away, tmp_path / "new")
    back = open_shop(tmp_path / "new")
    try:
        assert back.export("c0") == text
        assert back.originals.path(sha256).read_bytes() == b"recorded"
    finally:
        back.close()
