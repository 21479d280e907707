"""The pages are held to the code."""

from __future__ import annotations

import json
import re
import shlex
import tomllib
from pathlib import Path
from xml.etree import ElementTree

import click
import pytest
import yaml
from click.testing import CliRunner

from conftest import ROOT
from house.program import program
from witnessmark.cli.main import COMMANDS, cli
from witnessmark.units import QUANTITIES

SRC = ROOT / "src" / "witnessmark"
CODE = re.compile(r'(?:\bcode=|\bCODE = |not_run\(\s*)f?"([^"]+)"')
PAGES = sorted(
    p
    for p in [
        *ROOT.glob("*.md"),
        *(p for room in ("docs", "studies", "benchmarks") for p in (ROOT / room).rglob("*.md")),
    ]
)


def without_code(text: str) -> str:
    return re.sub(r"`[^`\n]*`", "", re.sub(r"^```.*?^```$", "", text, flags=re.S | re.M))


def anchors(page: Path) -> set[str]:
    """Return what a heading is called in a link: small letters, no signs, dashes for blanks."""
    heads = re.findall(r"^#+ +(.+)$", page.read_text(encoding="utf-8"), re.M)
    return {re.sub(r"[^\w\- ]", "", head.lower()).strip().replace(" ", "-") for head in heads}


def unknown_in(line: str) -> list[str]:
    """Return the words of a command line that are no command and the options that are none."""
    words = shlex.split(re.split(r" {3,}|\s#", line.replace("\\", " "))[0])
    command: click.Command = cli
    context = click.Context(cli)
    while words and isinstance(command, click.Group):
        found = command.get_command(context, words[0])
        if found is None:
            return [] if words[0].startswith("-") else [words[0]]
        command, words = found, words[1:]
    known = {o for p in command.params for o in (*p.opts, *p.secondary_opts)} | {"-h", "--help"}
    return [w for w in words if w.startswith("--") and w.partition("=")[0] not in known]


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


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_every_link_of_a_page_leads_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)\s]+)\)", without_code(page.read_text(encoding="utf-8"))):
        path, _, anchor = target.partition("#")
        assert "://" not in target, f"{page.name} leads out of the repository: {target}"
        meant = page.parent / path if path else page
        assert meant.exists(), f"{page.name} points to {target}"
        if anchor:
            assert anchor in anchors(meant), f"{page.name} points to {target}"


def test_a_link_to_nothing_would_be_seen() -> None:
    assert "state" in anchors(ROOT / "docs/pack_fields.md")
    assert "stet" not in anchors(ROOT / "docs/pack_fields.md")
    assert without_code("a\n```\n[x](y)\n```\nb `[z](w)` c") == "a\n\nb  c"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_the_code_of_a_page_can_be_read(page: Path) -> None:
    for kind, text in re.findall(
        r"^```(\w+)\n(.*?)^```$", page.read_text(encoding="utf-8"), re.S | re.M
    ):
        if kind == "python":
            compile(text, page.name, "exec")
        elif kind == "toml":
            tomllib.loads(text)
        elif kind == "json":
            json.loads(text)
        else:
            assert kind in {"console", "text", "sh", "html", "ini", "bat", "xml", "sql"}, kind


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.relative_to(ROOT).as_posix())
def test_every_command_of_a_page_is_one(page: Path) -> None:
    """The words and options of each line that begins with the command are its own."""
    for line in re.findall(
        r"^(?:    |\$ |    \$ )witnessmark +(\S.*)$", page.read_text(encoding="utf-8"), re.M
    ):
        if page.name != "commands.md":
            assert unknown_in(line) == [], f"{page.name}: witnessmark {line}"


def test_a_command_that_is_none_would_be_seen() -> None:
    assert unknown_in("asess SHOP") == ["asess"]
    assert unknown_in("assess CASE.jsonl --loud") == ["--loud"]
    assert unknown_in("case nwe SHOP") == ["nwe"]
    assert unknown_in("case new SHOP x --truck 'a b'   # and why --not") == []


def test_the_page_of_the_commands_is_made_from_them() -> None:
    made = program("docs/site/commands.py")
    page = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    assert made.page() == page, "run docs/site/commands.py"
    assert all(f"### witnessmark {command}\n" in page for command in COMMANDS)


def test_the_map_of_the_house_has_every_room_and_stands_first() -> None:
    page = (ROOT / "CONTRIBUTING.md").read_text(encoding="utf-8")
    first = page.split("\n## ")[1]
    assert first.startswith("The map")
    listed = re.findall(r"^\| `(\w+)` \|", first, re.M)
    rooms = {p.stem for p in SRC.iterdir() if p.is_dir() or p.suffix == ".py"}
    assert set(listed) == rooms - {"__init__", "__pycache__"}
    assert len(listed) == len(set(listed))
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for target in re.findall(r"`make (\w+)", page):
        assert re.search(rf"^{target}:", makefile, re.M), target
    for folder in re.findall(r"^\| `(\w+)/` \|", first, re.M):
        assert (ROOT / folder).is_dir(), folder


def test_what_is_looked_at_before_a_commit_is_the_projects_own() -> None:
    told = yaml.safe_load((ROOT / ".pre-commit-config.yaml").read_text(encoding="utf-8"))
    assert [r["repo"] for r in told["repos"]] == ["local"]
    for hook in told["repos"][0]["hooks"]:
        words = hook["entry"].split()
        assert hook["language"] == "system"
        assert words[0].startswith(".venv/bin/")
        for path in (w for w in words[1:] if w.startswith("tests/")):
            assert (ROOT / path).is_file(), path


def test_the_pictures_of_the_connectors_are_drawn_by_their_program() -> None:
    made = program("docs/site/connectors.py")
    for file, text in made.pictures().items():
        assert (ROOT / "docs/pictures" / file).read_text(encoding="utf-8") == text
        ElementTree.fromstring(text)
    # SAE J1939-13: C and D are the bus, A and B the battery; SAE J1962: 6, 14; 16 is live.
    assert (made.ROUND["C"], made.ROUND["D"]) == ("bus high", "bus low")
    assert (made.ROUND["A"], made.ROUND["B"]) == ("battery −", "battery +")
    assert (made.FLAT[6], made.FLAT[14], made.FLAT[16]) == ("bus high", "bus low", "battery +")


def test_every_picture_of_the_docs_is_drawn_by_a_program() -> None:
    """None is made by hand; a curve may lie a point or two elsewhere."""
    drawn = program("studies/fuel_supply/draw_docs.py").pictures()
    number = re.compile(r"-?\d+(?:\.\d+)?")
    for file, text in drawn.items():
        kept = (ROOT / "docs/pictures" / file).read_text(encoding="utf-8")
        if file == "fuel_case.svg":  # its explanations follow the judged shares of the day
            told = re.compile(r"<title>.*?</desc>")
            assert told.findall(kept) == told.findall(text) != []
            continue
        assert number.sub("", kept) == number.sub("", text), file
        for old, new in zip(number.findall(kept), number.findall(text), strict=True):
            assert abs(float(old) - float(new)) < 2.0, file
    others = {p.name for p in (ROOT / "docs/pictures").iterdir()} - set(drawn)
    of_pages = {"case.png", "phone.png", "reading.png"}  # tests/web/test_readme_picture.py
    assert others == of_pages | {"connector_nine.svg", "connector_sixteen.svg"}


def test_the_truck_that_the_docs_walk_through_goes_to_its_paper(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = (ROOT / "docs/one_truck.md").read_text(encoding="utf-8")
    walk = re.findall(r"^\$ witnessmark (.+)$", page, re.M)
    monkeypatch.chdir(tmp_path)
    said = []
    for line in walk:
        done = CliRunner().invoke(cli, shlex.split(line), catch_exceptions=False)
        assert done.exit_code == 0, (line, done.output)
        if line.startswith("assess"):
            said.append(done.output)
    _, looked, worked = said
    stop = "STOP: No more key"
    assert [stop in text for text in said] == [True, False, False]
    assert "Ground: engine or frame strap" in looked
    assert worked != looked
    assert {p.read_bytes()[:4] for p in tmp_path.glob("*.pdf")} == {b"%PDF"}
    assert len(walk) > 15


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
