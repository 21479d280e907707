"""One formatter of probabilities: the same text at every door."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from conftest import ROOT
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.odds import CauseOdds, Odds
from witnessmark.report.causes import chance_about as said_on_paper
from witnessmark.report.pictures.odds_bars import odds_picture
from witnessmark.web.bench.page_words import percent as said_on_the_page
from witnessmark.words.numbers import chance_band, chance_words, percentage

SRC = ROOT / "src" / "witnessmark"


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0, "under 1 %"),
        (0.007, "under 1 %"),
        (0.0099, "under 1 %"),
        (0.01, "1 %"),
        (0.46, "46 %"),
        (0.99, "99 %"),
        (0.9901, "over 99 %"),
        (0.997, "over 99 %"),
        (1.0, "over 99 %"),
        (None, "not known"),
        (float("nan"), "not known"),
    ],
)
def test_nothing_likely_is_called_certain_or_impossible(
    probability: float | None, words: str
) -> None:
    assert chance_words(probability) == words


def test_a_load_may_be_none_or_full() -> None:
    assert percentage(0.0) == "0 %"
    assert percentage(1.0) == "100 %"
    assert OperatingPoint(1400, 0.5).words() == "1400 rpm, 50 % load"
    assert chance_band(0.007, 0.997) == "under 1 % to over 99 %"
    assert chance_band(None, 0.5) == ""


@given(st.floats(0.0, 1.0))
def test_page_paper_picture_and_terminal_say_the_same(p: float) -> None:
    from witnessmark.workflow.dossier.in_words import _cause_in_numbers

    cause = CauseOdds("pump_worn", "The pump", p)
    odds = Odds("fuel_low", "c1", False, (), (cause,), p, p)
    said = chance_words(p)
    assert said_on_the_page(p).replace("\u00a0", " ") == said
    assert said_on_paper(p, None, None) == said
    assert f"none of the listed {said}" in odds_picture(odds).replace("\u00a0", " ")
    assert next(iter(_cause_in_numbers(cause))).split("  The pump")[0].strip() == said


def _percents(tree: ast.AST) -> list[int]:
    """Return the lines that write a number as a percentage by themselves."""
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.JoinedStr):
            pairs = zip(node.values, [*node.values[1:], None], strict=True)
            found += [node.lineno for one, after in pairs if _is_percent(one, after)]
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            found += [node.lineno] if ".0%}" in node.value else []
    return found


def _is_percent(one: ast.expr, after: ast.expr | None) -> bool:
    if not isinstance(one, ast.FormattedValue):
        return False
    parts = one.format_spec.values if isinstance(one.format_spec, ast.JoinedStr) else []
    spec = "".join(str(p.value) for p in parts if isinstance(p, ast.Constant))
    if spec.endswith("%") and not spec.startswith("%"):  # not a date's
        return True
    tail = str(after.value) if isinstance(after, ast.Constant) else ""
    # A setting that is kept in percent may be shown as it is; a fraction is made words elsewhere.
    made_here = spec.endswith("f") or any(isinstance(n, ast.BinOp) for n in ast.walk(one.value))
    return tail.lstrip(" \u00a0").startswith("%") and made_here


@pytest.mark.parametrize("path", sorted(SRC.rglob("*.py")), ids=lambda p: str(p.relative_to(SRC)))
def test_no_other_module_writes_a_percentage(path: Path) -> None:
    if path == SRC / "words" / "numbers.py":
        return
    assert not _percents(ast.parse(path.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    "line",
    [
        'f"{100 * p:.0f} %"',
        'f"{p:.0%}"',
        'f"{100 * p}\\u00a0%"',
        'f"{p:.1f} %"',
        '"{:.0%}".format(p)',
    ],
)
def test_the_check_sees_a_percentage(line: str) -> None:
    assert _percents(ast.parse(line))


def test_no_page_writes_one_by_itself() -> None:
    for path in (SRC / "web" / "templates").glob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert "* 100" not in text, path.name
        assert "100 *" not in text, path.name
