"""The pages are held to the code."""

from __future__ import annotations

import re

from conftest import ROOT
from witnessmark.cli.main import COMMANDS
from witnessmark.units import QUANTITIES

SRC = ROOT / "src" / "witnessmark"
CODE = re.compile(r'(?:\bcode=|\bCODE = |not_run\(\s*)f?"([^"]+)"')


def test_every_finding_code_is_documented() -> None:
    page = (ROOT / "docs/findings.md").read_text(encoding="utf-8")
    codes: set[str] = set()
    for room in ("analyses", "inference"):
        for path in (SRC / room).rglob("*.py"):
            codes |= set(CODE.findall(path.read_text(encoding="utf-8")))
    assert len(codes) > 10
    for code in codes:
        if " " in code:
            continue  # a reason, not a code
        stem = re.sub(r"^\{[^}]+\}_", "<quantity>_", code)
        named = [q for q in QUANTITIES if q != "vibration" and stem.startswith(f"{q}_")]
        stem = f"<quantity>_{stem.removeprefix(f'{named[0]}_')}" if named else stem
        if stem.endswith("}"):
            continue  # the kind of a movement: each is listed by its own name
        assert f"`{stem}`" in page, code


def test_every_command_is_named_in_the_readme() -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    for command in COMMANDS:
        assert f"witnessmark {command}" in page, command


def test_every_page_the_docs_point_to_is_there() -> None:
    for page in [ROOT / "README.md", *(ROOT / "docs").glob("*.md")]:
        text = page.read_text(encoding="utf-8")
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (page.parent / target).exists(), f"{page.name} points to {target}"


def test_every_test_the_security_page_names_is_there() -> None:
    page = (ROOT / "docs/asvs.md").read_text(encoding="utf-8")
    there: set[str] = set()
    for path in (ROOT / "tests").rglob("test_*.py"):
        there |= set(re.findall(r"def (test_\w+)", path.read_text(encoding="utf-8")))
    named = set(re.findall(r"\btest_\w+(?!\.py)\b", page)) - {
        path.stem for path in (ROOT / "tests").rglob("test_*.py")
    }
    assert len(named) > 25
    assert named <= there, named - there
