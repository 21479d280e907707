"""What is installed: every file named by its hash, no address, licences and bill from metadata."""

from __future__ import annotations

import importlib.util
import json
import re
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

from conftest import ROOT

REQUIREMENTS = ROOT / "requirements"
LOCKS = ("run", "test", "docs", "build")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def program(name: str, monkeypatch: pytest.MonkeyPatch) -> ModuleType:
    """Load a program of ``release/``, which is no part of the package."""
    monkeypatch.syspath_prepend(str(ROOT / "release"))
    place = importlib.util.spec_from_file_location(name, ROOT / "release" / f"{name}.py")
    assert place
    assert place.loader
    module = importlib.util.module_from_spec(place)
    monkeypatch.setitem(sys.modules, name, module)
    place.loader.exec_module(module)
    return module


def test_every_line_of_a_lock_has_the_hashes_of_its_files(monkeypatch: pytest.MonkeyPatch) -> None:
    parts = program("parts", monkeypatch)
    held: dict[str, dict[str, str]] = {}
    for name in LOCKS:
        lock = REQUIREMENTS / f"{name}.lock"
        rows = parts.locked(lock)
        pinned = re.findall(r"^[A-Za-z0-9._-]+==", lock.read_text(encoding="utf-8"), re.M)
        assert len(rows) == len(pinned) > 0
        assert all(hashes for *_, hashes in rows), name
        held[name] = {row[0]: row[1] for row in rows}
    for larger in LOCKS[1:]:
        for name, version in held[larger].items():
            assert held["run"].get(name, version) == version, (larger, name)
            assert held["test"].get(name, version) == version, (larger, name)
    assert held["run"].items() <= held["test"].items()


@pytest.mark.parametrize("path", sorted(REQUIREMENTS.iterdir()), ids=lambda p: p.name)
def test_no_lock_says_where_files_come_from(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert "://" not in text
    assert not re.search(r"--(index|extra-index|find-links|trusted-host)", text)


def test_the_locks_hold_what_the_package_asks_for(monkeypatch: pytest.MonkeyPatch) -> None:
    rows = program("parts", monkeypatch).locked(REQUIREMENTS / "run.lock")
    held = {name: version for name, version, *_ in rows}
    wanted = [Requirement(r) for r in PROJECT["project"]["dependencies"]]
    asked = {
        canonicalize_name(line)
        for line in (REQUIREMENTS / "run.in").read_text(encoding="utf-8").split()
    }
    assert {canonicalize_name(r.name) for r in wanted} == asked
    for requirement in wanted:
        assert requirement.specifier.contains(held[canonicalize_name(requirement.name)])


def test_the_tool_that_builds_knows_a_licence_expression(monkeypatch: pytest.MonkeyPatch) -> None:
    """A licence as an SPDX expression is read from setuptools 77 on (its own history, v77.0.0)."""
    (floor,) = [Requirement(r) for r in PROJECT["build-system"]["requires"]]
    assert not floor.specifier.contains("76.1.0")
    ((_, version, *_),) = program("parts", monkeypatch).locked(REQUIREMENTS / "build.lock")
    assert floor.specifier.contains(version)
    assert Version(version) >= Version("77")


def test_the_notice_names_every_library_with_its_licence(monkeypatch: pytest.MonkeyPatch) -> None:
    parts, licences = program("parts", monkeypatch), program("licences", monkeypatch)
    found = parts.parts()
    assert (ROOT / "NOTICE").read_text(encoding="utf-8") == licences.notice(found)
    page = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
    for part in found:
        assert f"| {part.name} | {part.version} | {part.licence} |" in page


def test_the_bill_of_materials_holds_to_its_standard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = program("parts", monkeypatch).parts()
    sbom = program("sbom", monkeypatch)
    wheel = tmp_path / "witnessmark-0.1.0-py3-none-any.whl"
    wheel.write_bytes(b"a wheel")
    text = sbom.bill(wheel, found)  # it refuses what breaks the schema
    told = json.loads(text)
    assert {c["name"] for c in told["components"]} == {p.name for p in found}
    edges = {d["ref"]: set(d.get("dependsOn", ())) for d in told["dependencies"]}
    assert "starlette" in edges["fastapi"]
    assert all(c["licenses"] and c["properties"] for c in told["components"])
    assert sbom.bill(wheel, found) == text
