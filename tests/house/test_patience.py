"""No test fails because a machine is slow: every wall-clock limit is long."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from conftest import ROOT
from patience import PATIENCE_S

#: Keywords that bound a wait in seconds. Playwright's are milliseconds and end in no number here:
#: its browser is made patient once, in tests/web/conftest.py.
BOUNDS = {"timeout", "timeout_s"}
#: Waits whose running out is what is expected: a file has these as the *passing* way.
EXPECTED = {
    "tests/web/attackers.py": "an attacker hangs up after a moment of his own",
}


def limits(tree: ast.AST) -> Iterator[tuple[int, float]]:
    """Yield line and seconds of every literal limit."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            for keyword in node.keywords:
                value = keyword.value
                if (
                    keyword.arg in BOUNDS
                    and isinstance(value, ast.Constant)
                    and isinstance(value.value, int | float)
                ):
                    yield value.lineno, float(value.value)
            yield from _without_keyword(node)
        # deadline = time.monotonic() + 60
        if (
            isinstance(node, ast.BinOp)
            and isinstance(node.op, ast.Add)
            and isinstance(node.left, ast.Call)
            and isinstance(node.left.func, ast.Attribute)
            and node.left.func.attr in {"monotonic", "perf_counter", "time"}
            and isinstance(node.right, ast.Constant)
        ):
            yield node.right.lineno, float(str(node.right.value))


def _without_keyword(call: ast.Call) -> Iterator[tuple[int, float]]:
    """``thread.join(30)`` and ``event.wait(30)``; a wait below a second only looks whether yet."""
    if isinstance(call.func, ast.Attribute) and call.func.attr in {"join", "wait"}:
        yield from (
            (value.lineno, float(value.value))
            for value in call.args
            if isinstance(value, ast.Constant)
            and isinstance(value.value, int | float)
            and value.value >= 1.0
        )


@pytest.mark.parametrize(
    "path",
    sorted((ROOT / "tests").rglob("*.py")),
    ids=lambda p: str(p.relative_to(ROOT / "tests")),
)
def test_no_wall_clock_limit_is_short(path) -> None:
    if str(path.relative_to(ROOT)) in EXPECTED:
        return
    short = [
        f"line {line}: {seconds:g} s"
        for line, seconds in limits(ast.parse(path.read_text(encoding="utf-8")))
        if seconds < PATIENCE_S
    ]
    assert not short, f"{short}: wait for the event, with PATIENCE_S as the last limit"


def test_a_short_limit_would_be_found() -> None:
    tree = ast.parse("run(timeout=30)\nend = time.monotonic() + 5\ngo.wait(7)\nt.join(0.1)\n")
    assert sorted(seconds for _, seconds in limits(tree)) == [5.0, 7.0, 30.0]
