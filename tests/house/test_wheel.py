"""What is in the tree is in the wheel."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

from conftest import ROOT

_MADE = {"__pycache__"}


def test_the_wheel_holds_every_file_of_the_tree(tmp_path: Path) -> None:
    """A page whose manifest is missing from the wheel works here and nowhere else."""
    copy = tmp_path / "copy"
    copy.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, copy / name)
    left_out = shutil.ignore_patterns("__pycache__", "*.egg-info")
    shutil.copytree(ROOT / "src", copy / "src", ignore=left_out)
    code = (
        "import os, sys; os.chdir(sys.argv[1]); from setuptools import build_meta as b; "
        "print(b.build_wheel(sys.argv[2]))"
    )
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code, copy, tmp_path],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    (wheel,) = tmp_path.glob("*.whl")
    held = {n for n in zipfile.ZipFile(wheel).namelist() if ".dist-info/" not in n}
    tree = {
        p.relative_to(ROOT / "src").as_posix()
        for p in (ROOT / "src" / "witnessmark").rglob("*")
        if p.is_file() and not _MADE & set(p.parts)
    }
    assert tree - held == set()
    assert held - tree == set()
