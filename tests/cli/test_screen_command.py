"""``witnessmark screen``: many recordings, the refused ones named, the rest looked at."""

from __future__ import annotations

import json
from pathlib import Path

from conftest import Run


def test_good_and_bad_files_side_by_side(witnessmark: Run, tmp_path: Path) -> None:
    frames = "".join(f"({n / 50:.3f}) can0 0CF00400#FFFFFF{0x1C:02X}15FFFFFF\n" for n in range(500))
    (tmp_path / "idle.log").write_text(frames)
    (tmp_path / "notes.bin").write_bytes(b"\x00\x01nothing")
    found = witnessmark("screen", tmp_path, "--workers", 2, "--json")
    assert found.returncode == 0, found.stderr
    rows = {Path(row["file"]).name: row for row in json.loads(found.stdout)}
    assert len(rows["idle.log"]["sha256"]) == 64
    assert rows["notes.bin"]["sha256"] == ""
    assert rows["notes.bin"]["problems"][0]["what"]


def test_nothing_usable_is_exit_code_3(witnessmark: Run, tmp_path: Path) -> None:
    (tmp_path / "notes.bin").write_bytes(b"\x00\x01nothing")
    assert witnessmark("screen", tmp_path).returncode == 3
    empty = tmp_path / "empty"
    empty.mkdir()
    found = witnessmark("screen", empty)
    assert found.returncode == 3
    assert "no file" in found.stderr
