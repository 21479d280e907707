"""What is in the tree is in the wheel, and the wheel is all that its commands need."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import urllib.request
import zipfile
from pathlib import Path

import pytest

from conftest import ROOT
from house.program import program
from patience import PATIENCE_S

_MADE = {"__pycache__"}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel of the tree, built as an installer builds it."""
    place = tmp_path_factory.mktemp("wheel")
    return Path(program("release/outside.py").build(place))


def test_the_wheel_holds_every_file_of_the_tree(wheel: Path) -> None:
    """A page whose manifest is missing from the wheel works here and nowhere else."""
    names = zipfile.ZipFile(wheel).namelist()
    held = {n for n in names if ".dist-info/" not in n}
    tree = {
        p.relative_to(ROOT / "src").as_posix()
        for p in (ROOT / "src" / "witnessmark").rglob("*")
        if p.is_file() and not _MADE & set(p.parts)
    }
    assert tree - held == set()
    assert held - tree == set()
    licences = {n.rpartition("/")[2] for n in names if ".dist-info/licenses/" in n}
    assert licences == {"LICENSE", "NOTICE"}


def test_the_wheel_alone_serves_the_invented_shop(wheel: Path, tmp_path: Path) -> None:
    """`witnessmark demo` from another folder, with nothing of the repository on the path."""
    unpacked = tmp_path / "unpacked"
    zipfile.ZipFile(wheel).extractall(unpacked)
    code = (
        "import sys, witnessmark; print(witnessmark.__file__, flush=True); "
        "from witnessmark.__main__ import main; "
        "sys.argv = ['witnessmark', 'demo', '--no-browser', '--port', '0', '--json']; main()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True, cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(unpacked)},
    ) as server:  # fmt: skip
        assert server.stdout
        where = server.stdout.readline().strip()
        told = ""
        while "}" not in told and (line := server.stdout.readline()):
            told += line
        try:
            assert Path(where).is_relative_to(unpacked)
            with urllib.request.urlopen(json.loads(told)["address"], timeout=PATIENCE_S) as answer:
                page = answer.read().decode()
        finally:
            server.terminate()
    assert "feed-22" in page
