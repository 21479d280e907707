"""The plan of the house is a test."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from conftest import ROOT

SRC = ROOT / "src" / "witnessmark"


def test_the_import_contract_is_kept() -> None:
    command = Path(sys.executable).with_name("lint-imports")
    found = subprocess.run([command, "--no-cache"], cwd=ROOT, capture_output=True, text=True,
                           env={"PYTHONPATH": str(ROOT / "src"), "PATH": "/usr/bin:/bin"},
                           check=False)  # fmt: skip
    assert found.returncode == 0, found.stdout[-3000:]


def test_an_unlisted_room_would_fail(tmp_path: Path) -> None:
    """The contract is exhaustive: planting a room breaks it."""
    copy = tmp_path / "src" / "witnessmark"
    copy.parent.mkdir()
    subprocess.run(["cp", "-r", SRC, copy], check=True)
    (copy / "attic.py").write_text('"""A room nobody planned."""\n')
    (tmp_path / "pyproject.toml").write_text((ROOT / "pyproject.toml").read_text())
    command = Path(sys.executable).with_name("lint-imports")
    found = subprocess.run([command, "--no-cache"], cwd=tmp_path, capture_output=True, text=True,
                           env={"PYTHONPATH": str(tmp_path / "src"), "PATH": "/usr/bin:/bin"},
                           check=False)  # fmt: skip
    assert found.returncode != 0
    assert "attic" in found.stdout


def test_no_room_is_named_for_nothing() -> None:
    names = {p.stem for p in SRC.rglob("*.py")} | {p.name for p in SRC.rglob("*") if p.is_dir()}
    assert not names & {"utils", "util", "helpers", "helper", "misc", "common"}


def test_versions_are_locked_and_no_registry_is_named() -> None:
    wanted = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["dependencies"]
    locked = (ROOT / "requirements" / "run.lock").read_text().lower()
    for requirement in wanted:
        name = requirement.split(">")[0].split("[")[0].lower()
        assert f"\n{name}==" in f"\n{locked}", name
    for lock in (ROOT / "requirements").iterdir():
        assert "://" not in lock.read_text(), lock.name


def test_help_does_not_load_a_heavy_library() -> None:
    code = (
        "import sys; from witnessmark.cli.main import cli; "
        "cli.main(['--help'], standalone_mode=False); "
        "print([m for m in ('numpy', 'scipy', 'polars', 'sqlalchemy', 'pydantic', 'fastapi') "
        "if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], cwd=ROOT / "src", capture_output=True,
                           text=True, check=True)  # fmt: skip
    assert found.stdout.strip().endswith("[]")


@pytest.mark.parametrize("path", sorted(SRC.rglob("*.py")), ids=lambda p: str(p.relative_to(SRC)))
def test_a_module_stays_readable(path: Path) -> None:
    """Over about 400 lines a module is split; tables may run a little longer."""
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 450
