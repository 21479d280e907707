"""Which test reaches which line: the map that a mutation run asks.

    python studies/mutations/reach.py --into FOLDER tests/physics tests/planner ...

One process a path; each writes one file into the folder: of every test its processor time, of every
line of the package the tests that ran it. What a fixture of a whole file ran, or the import of the
file, is reached by every test of that file. What runs in another process (a command, a server) is
not seen. The tests run in a copy of the tree, as the mutants do.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import coverage
import pytest

ROOT = Path(__file__).resolve().parents[2]
WHOLE_FILE = "file of "


@dataclass(frozen=True)
class Reach:
    """What each line is reached by.

    Attributes:
        seconds: test -> processor time of the unchanged tree, with the map's own cost [s].
        lines: module below src/witnessmark -> line -> tests.
    """

    seconds: dict[str, float] = field(default_factory=dict)
    lines: dict[str, dict[int, set[str]]] = field(default_factory=dict)

    def tests(self, module: str, line: int, end: int) -> list[str]:
        """Return the tests that ran any of the lines, the quickest first."""
        known = self.lines.get(module, {})
        found = {test for at in range(line, end + 1) for test in known.get(at, ())}
        return sorted(found, key=lambda test: (self.seconds[test], test))


def read_reach(folder: Path) -> Reach:
    """Return all the maps of a folder as one."""
    reach = Reach()
    for path in sorted(folder.glob("*.json")):
        document = json.loads(path.read_text(encoding="utf-8"))
        names = document["tests"]
        reach.seconds.update(zip(names, document["seconds"], strict=True))
        for module, lines in document["lines"].items():
            known = reach.lines.setdefault(module, {})
            for line, tests in lines.items():
                known.setdefault(int(line), set()).update(names[t] for t in tests)
    return reach


def copied_tree(folder: Path, beside: Path) -> Path:
    """Return a copy of what the tests need, with the folder of outside check values beside it."""
    copy = folder / "tree"
    for name in ("src", "tests", "docs", "studies", "benchmarks"):
        shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("pyproject.toml", "README.md", "CHANGELOG.md", "Makefile"):
        shutil.copy(ROOT / name, copy / name)
    (folder / "shared").symlink_to(beside)
    return copy


class _Mapper:
    """A plug-in of pytest: who runs what, and how long."""

    def __init__(self, measured: coverage.Coverage) -> None:
        self.measured = measured
        self.now = ""
        self.seconds: dict[str, float] = {}

    def switch(self, name: str) -> str:
        before, self.now = self.now, name
        self.measured.switch_context(name)
        return before

    @pytest.hookimpl(wrapper=True)
    def pytest_make_collect_report(self, collector: pytest.Collector) -> Iterator[None]:
        before = self.switch(WHOLE_FILE + collector.nodeid.split("::")[0])
        try:
            return (yield)
        finally:
            self.switch(before)

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        before, start = self.switch(item.nodeid), sum(os.times()[:4])
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] = sum(os.times()[:4]) - start
            self.switch(before)

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(
        self, fixturedef: Any, request: pytest.FixtureRequest
    ) -> Iterator[None]:
        if fixturedef.scope == "function":
            return (yield)
        before = self.switch(WHOLE_FILE + request.node.nodeid.split("::")[0])
        try:
            return (yield)
        finally:
            self.switch(before)


def mapped(what: str) -> dict[str, Any]:
    """Run the tests of one path and return the map as a document."""
    measured = coverage.Coverage(
        data_file=None, source=["witnessmark"], branch=False, config_file=False
    )
    plug = _Mapper(measured)
    measured.start()
    pytest.main(["-q", "--tb=line", "-p", "no:cacheprovider", what], plugins=[plug])
    measured.stop()
    names = sorted(plug.seconds)
    number = {name: k for k, name in enumerate(names)}
    of_file = defaultdict(list)
    for name in names:
        of_file[WHOLE_FILE + name.split("::")[0]].append(number[name])
    data, lines = measured.get_data(), dict[str, dict[int, list[int]]]()
    for path in data.measured_files():
        module = path.rsplit("/witnessmark/", maxsplit=1)[-1]
        for line, contexts in data.contexts_by_lineno(path).items():
            tests = {
                t for c in contexts for t in ([number[c]] if c in number else of_file.get(c, ()))
            }
            if tests:
                lines.setdefault(module, {})[line] = sorted(tests)
    return {"tests": names, "seconds": [round(plug.seconds[n], 2) for n in names], "lines": lines}


def main(arguments: Sequence[str] | None = None) -> None:
    """Map each path in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--into", type=Path, required=True)
    parser.add_argument("--beside", type=Path, default=ROOT.parent / "shared")
    parser.add_argument("--here", action="store_true", help="in this process, in this folder")
    said = parser.parse_args(arguments)
    into = said.into.resolve()
    into.mkdir(parents=True, exist_ok=True)
    if said.here:
        (what,) = said.tests
        document = json.dumps(mapped(what))
        (into / (what.strip("/").removesuffix(".py").replace("/", "-") + ".json")).write_text(
            document
        )
        return
    with tempfile.TemporaryDirectory(prefix="reach-") as folder:
        copy = copied_tree(Path(folder), said.beside.resolve())
        for what in said.tests:
            subprocess.run(  # noqa: S603 -- our own tests
                [sys.executable, copy / "studies" / "mutations" / "reach.py", "--here",
                 "--into", into, what],
                cwd=copy, env={**os.environ, "PYTHONPATH": str(copy / "src")}, check=False,
            )  # fmt: skip


if __name__ == "__main__":
    main()
