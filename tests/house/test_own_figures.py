"""The figures of README, docs, pictures, help and demo are invented; check values stay in tests.

The pairs below are common practice, no source: two low readings and two healthy ones of a
gallery-fed engine. As examples they would pass for ours, and a check against them for a check.
"""

from __future__ import annotations

import itertools
import json
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SRC = ROOT / "src" / "witnessmark"
KINDS = {".md", ".py", ".html", ".js", ".json", ".jsonl", ".svg", ".toml", ".typ", ".ipynb"}
#: Pressures [psi] (common practice, no source), and how near each other they make a pair.
PAIRS = ((65, 78), (70, 80), (75, 95))
NEAR = 300
#: What a simulator drew of its trucks, told by the study: any pair may come up.
DRAWN = ROOT / "studies" / "fuel_supply" / "rounds" / "RESULTS.md"
#: Series of the same source: before and after of two trucks that are not ours.
SERIES = (
    ("50", "65", "76", "82"),
    ("76", "83", "95", "103"),
    ("74", "83", "84", "79"),
    ("74", "91", "98", "87"),
)


def texts() -> list[Path]:
    """Return every text that a reader or a user of the tool may see an example in."""
    found = [ROOT / "README.md", ROOT / "CHANGELOG.md", ROOT / "CONTRIBUTING.md"]
    for folder in (SRC, *(ROOT / name for name in ("docs", "notebooks", "studies", "benchmarks"))):
        found += [path for path in sorted(folder.rglob("*")) if path.suffix in KINDS]
    return [path for path in found if path != DRAWN]


def pairs_in(text: str) -> list[tuple[int, int]]:
    """Return the check values that stand near each other as pressures."""
    at = [(m.start(), int(m[1])) for m in re.finditer(r"(?<![\d.])(\d{2})(?:\.0)?[\s\u00a0]*psi",
                                                      text)]  # fmt: skip
    near = (
        {a, b} for (i, a), (k, b) in itertools.combinations(at, 2) if abs(k - i) <= NEAR and a != b
    )
    found = list(near)
    return [pair for pair in PAIRS if set(pair) in found]


def series_in(text: str) -> list[tuple[str, ...]]:
    """Return the series of check values that stand in *text* in their order."""
    return [s for s in SERIES if re.search(r"\D+\d{0,4}\D{1,8}".join(rf"\b{n}\b" for n in s), text)]


def test_there_is_something_to_read() -> None:
    assert len(texts()) > 250


def test_no_pair_of_check_values_stands_outside_the_tests() -> None:
    found = {str(path.relative_to(ROOT)): pairs_in(path.read_text("utf-8")) for path in texts()}
    assert {name: pairs for name, pairs in found.items() if pairs} == {}


def readings_in(lines: str) -> str:
    """Return the values read in a file of entries, one after the other."""
    entries = [json.loads(line) for line in lines.splitlines()]
    return ", ".join(e["data"]["value"] for e in entries if e.get("kind") == "reading")


def test_no_series_of_check_values_stands_in_the_demo() -> None:
    found = {path.name: series_in(path.read_text("utf-8")) for path in (SRC / "demo").rglob("*.py")}
    stories = {p.name: readings_in(p.read_text("utf-8")) for p in (SRC / "demo").rglob("*.jsonl")}
    assert sum(map(bool, stories.values())) >= 6
    found |= {name: series_in(values) for name, values in stories.items()}
    assert {name: series for name, series in found.items() if series} == {}


def test_a_series_in_a_file_of_entries_would_be_seen() -> None:
    rows = [{"kind": "reading", "data": {"value": f"{n} psi"}} for n in SERIES[1]]
    assert series_in(readings_in("\n".join(map(json.dumps, rows)))) == [SERIES[1]]


def test_a_test_with_check_values_says_that_they_have_no_source() -> None:
    tests = [path for path in sorted((ROOT / "tests").rglob("*.py")) if path != Path(__file__)]
    held = [path for path in tests if pairs_in(path.read_text("utf-8"))]
    assert len(held) > 5
    bare = [path.name for path in held if "common practice" not in path.read_text("utf-8")]
    assert bare == []


@pytest.mark.parametrize(
    "text",
    [
        'value="65 psi" point.rpm=650\n ... value="78 psi" point.rpm=1400',
        "78 psi there, and 65 psi here",
        "tuned to 75\u00a0psi at idle and 95 psi at speed",
        '{650: "70 psi", 1500: "80 psi"}',
    ],
)
def test_the_look_for_pairs_finds_them(text: str) -> None:
    assert len(pairs_in(text)) == 1
    assert not pairs_in("65 psi" + " " * NEAR + "78 psi")


def test_the_look_for_series_finds_them() -> None:
    assert series_in('{700: "50 psi", 1000: "65 psi", 1500: "76 psi", 1800: "82 psi"}')
    assert series_in('{700: "74 psi", 1500: "83 psi", 1800: "84 psi", PULL: "79 psi"}')
    assert not series_in('{690: "59 psi", 980: "66 psi", 1570: "79 psi"}')
