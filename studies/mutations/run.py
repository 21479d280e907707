"""Does the suite notice a small wrong change? Seeded mutations of the thinking rooms.

One mutant is one changed operator, comparison, sign, bound or constant in one function of one
module. Only the tests that ran the changed lines (the map of `reach.py`) are run against it, the
quickest first, until a test fails ("killed"), the processor is used three times as long as the
unchanged tree needs ("killed by time"), or all have passed ("alive"). A test that fails on the
unchanged tree too kills nothing. What is alive is looked at by a person: a real gap, or a change
that changes nothing ("equivalent").

    python studies/mutations/reach.py --into REACH tests/physics tests/planner ...
    python studies/mutations/run.py --seed 20261130 --reach REACH
    python studies/mutations/tabulate.py

Every mutant has its own line in the rows, written as soon as it is judged, so a run that was ended
goes on where it stopped. A run with more tests in its map or a larger budget judges again what an
earlier one left alive or not decided; the last line of a mutant counts. Nothing in the working tree
is changed: a copy is mutated.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path

from reach import ROOT, Reach, copied_tree, read_reach

ROOMS = ("physics", "inference", "planner", "words", "readers")
#: At most so much processor time of tests a mutant, as the unchanged tree needs it [s].
BUDGET_S = 90.0
#: A run is ended after so many times what the unchanged tree needs, and what starting takes [s].
SLOWER, START_S = 3.0, 30.0
#: Tests that fail without the change as well and are left out, one a run, before it is given up.
TRIES = 4
#: Most memory of a test run [B]: a change that asks for all of it is stopped.
MEMORY = 6 * 2**30
COMPARE: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult,
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One small wrong change.

    Attributes:
        module: path below src/witnessmark.
        line: where.
        end: the last line of the changed expression.
        kind: what was done.
        before: the expression before.
        after: the expression after.
        number: which of the module's changeable places.
    """

    module: str
    line: int
    end: int
    kind: str
    before: str
    after: str
    number: int


class _Change(ast.NodeTransformer):
    """Change the *wanted*-th changeable place, and count the places."""

    def __init__(self, wanted: int) -> None:
        self.wanted = wanted
        self.places = 0
        self.made: tuple[int, int, str, str, str] | None = None

    def _here(self) -> bool:
        self.places += 1
        return self.places - 1 == self.wanted

    def _note(self, kind: str, old: ast.expr, new: ast.expr) -> ast.expr:
        self.made = (
            old.lineno,
            old.end_lineno or old.lineno,
            kind,
            ast.unparse(old),
            ast.unparse(new),
        )
        return ast.copy_location(new, old)

    def visit_Compare(self, node: ast.Compare) -> ast.expr:
        """Make a strict comparison loose, or turn it round."""
        self.generic_visit(node)
        if type(node.ops[0]) in COMPARE and self._here():
            new = ast.Compare(node.left, [COMPARE[type(node.ops[0])](), *node.ops[1:]],
                              node.comparators)  # fmt: skip
            return self._note("comparison", node, new)
        return node

    def visit_BinOp(self, node: ast.BinOp) -> ast.expr:
        """Plus for minus, times for by."""
        self.generic_visit(node)
        if type(node.op) in ARITHMETIC and not _is_text(node) and self._here():
            new = ast.BinOp(node.left, ARITHMETIC[type(node.op)](), node.right)
            return self._note("arithmetic", node, new)
        return node

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.expr:
        """And for or."""
        self.generic_visit(node)
        if self._here():
            other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
            return self._note("and/or", node, ast.BoolOp(other, node.values))
        return node

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.expr:
        """Drop a sign or a not."""
        self.generic_visit(node)
        if isinstance(node.op, ast.USub | ast.Not) and self._here():
            return self._note("sign", node, node.operand)
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.expr:
        """Move a number."""
        value = node.value
        if isinstance(value, bool) or not isinstance(value, int | float) or not self._here():
            return node
        new = ast.Constant(value + 1 if isinstance(value, int) else value * 1.5 + 0.1)
        return self._note("constant", node, new)

    def visit_Call(self, node: ast.Call) -> ast.expr:
        """The lowest for the highest."""
        self.generic_visit(node)
        name = node.func.id if isinstance(node.func, ast.Name) else ""
        if name in {"min", "max"} and self._here():
            other = ast.Name("max" if name == "min" else "min", ast.Load())
            return self._note("min/max", node, ast.Call(other, node.args, node.keywords))
        return node


def _is_text(node: ast.BinOp) -> bool:
    return any(
        isinstance(s, ast.JoinedStr) or (isinstance(s, ast.Constant) and isinstance(s.value, str))
        for s in (node.left, node.right)
    )


def changed(source: str, number: int) -> tuple[str, _Change]:
    """Return the module with its *number*-th place changed, and what was done."""
    tree = ast.parse(source)
    change = _Change(number)
    for node in tree.body:
        # Tables and constants of a module are judged by their own tests and sources.
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            change.visit(node)
    return ast.unparse(ast.fix_missing_locations(tree)), change


def drawn(seed: int, count: int) -> list[Mutant]:
    """Return *count* mutants, every changeable place of the thinking rooms as likely as any."""
    places: list[tuple[Path, int]] = []
    for room in ROOMS:
        for path in sorted((ROOT / "src" / "witnessmark" / room).rglob("*.py")):
            _, counter = changed(path.read_text(encoding="utf-8"), -1)
            places += [(path, k) for k in range(counter.places)]
    chosen = random.Random(seed).sample(places, count)  # noqa: S311 -- no secret
    found = []
    for path, number in chosen:
        _, change = changed(path.read_text(encoding="utf-8"), number)
        assert change.made is not None
        module = path.relative_to(ROOT / "src" / "witnessmark").as_posix()
        found.append(Mutant(module, *change.made, number))
    return found


def chosen_tests(reach: Reach, mutant: Mutant, budget_s: float) -> tuple[list[str], float, int]:
    """Return the tests to run, the time they need unchanged [s], and how many reach the change."""
    reached = reach.tests(mutant.module, mutant.line, mutant.end)
    found, total = list[str](), 0.0
    for test in reached:
        if found and total + reach.seconds[test] > budget_s:
            break
        found.append(test)
        total += reach.seconds[test]
    return found, total, len(reached)


def ran(copy: Path, what: list[str], limit_s: float) -> tuple[int, str]:
    """Run tests in the copy; return pytest's code (-9 for out of time) and the failed test."""

    def bound() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (int(limit_s), int(limit_s) + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))

    asked = copy.parent / "asked.txt"
    asked.write_text("\n".join(what), encoding="utf-8")
    try:
        told = subprocess.run(  # noqa: S603 -- our own tests
            [sys.executable, "-m", "pytest", "-x", "-q", "--tb=no", "-p", "no:cacheprovider",
             "--hypothesis-seed=0", f"@{asked}"],
            cwd=copy, env={**os.environ, "PYTHONPATH": str(copy / "src")}, text=True,
            capture_output=True, check=False, preexec_fn=bound, timeout=limit_s * 30,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return -1, ""  # the machine was busy, or the change waits for ever: nobody knows
    failed = [
        line.removeprefix("FAILED ").removeprefix("ERROR ").split(" - ")[0]
        for line in told.stdout.splitlines()
        if line.startswith(("FAILED tests", "ERROR tests"))
    ]
    return (-9 if told.returncode < 0 else told.returncode), (failed or [""])[0]


def judge(mutant: Mutant, copy: Path, tests: list[str], needs_s: float) -> str:
    """Return ``killed by TEST``, ``killed by time``, ``alive`` or ``not decided``."""
    target = copy / "src" / "witnessmark" / mutant.module
    whole = target.read_text(encoding="utf-8")
    limit, tests = START_S + SLOWER * needs_s, list(tests)
    for _ in range(TRIES):
        target.write_text(changed(whole, mutant.number)[0], encoding="utf-8")
        try:
            code, failed = ran(copy, tests, limit)
        finally:
            target.write_text(whole, encoding="utf-8")
        if code in {0, 5}:
            return "alive"
        if code == 4 and any("[" in test for test in tests):
            tests = sorted({test.split("[")[0] for test in tests})  # the change renames cases
            continue
        if code == -1:
            return "not decided"
        if code == -9:
            # The unchanged tree must be well within: else it is the tests that are slow.
            unchanged = ran(copy, tests, limit / 2)[0]
            return "killed by time" if unchanged in {0, 1, 5} else "not decided"
        # Nothing is killed by a test that fails without the change as well.
        if not failed or ran(copy, [failed], limit)[0] in {0, 5}:
            return f"killed by {failed or 'not even loading'}"
        tests = [test for test in tests if test != failed]
        if not tests:
            return "alive"
    return "not decided"


def judged(path: Path, seed: int) -> dict[tuple[str, int], dict[str, object]]:
    """Return the last row of every mutant of a seed so far."""
    text = path.read_text(encoding="utf-8") if path.exists() else ""
    rows = [json.loads(line) for line in text.splitlines()]
    return {(row["module"], row["number"]): row for row in rows if row["seed"] == seed}


def main() -> None:
    """Draw the mutants and judge each against the tests that reach it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--mutants", type=int, default=60)
    parser.add_argument("--reach", type=Path, required=True, help="the folder of reach.py")
    parser.add_argument("--beside", type=Path, default=ROOT.parent / "shared")
    parser.add_argument("--budget", type=float, default=BUDGET_S)
    parser.add_argument("--backwards", action="store_true", help="from the other end, beside one")
    parser.add_argument("--only-reached", action="store_true", help="leave what no test reaches")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("rows.jsonl"))
    said = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = copied_tree(Path(folder), said.beside.resolve())
        mutants = drawn(said.seed, said.mutants)
        for mutant in reversed(mutants) if said.backwards else mutants:
            tests, needs, reached = chosen_tests(read_reach(said.reach), mutant, said.budget)
            known = judged(said.out, said.seed).get((mutant.module, mutant.number))
            if known is not None and (
                str(known["verdict"]).startswith("killed") or int(str(known["ran"])) >= len(tests)
            ):
                continue
            if not reached and said.only_reached:
                continue
            verdict = judge(mutant, copy, tests, needs) if tests else "alive"
            row = {
                "seed": said.seed, **asdict(mutant), "verdict": verdict, "reached_by": reached,
                "ran": len(tests), "unchanged_s": round(needs, 1),
            }  # fmt: skip
            with said.out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
            print(mutant.module, mutant.line, mutant.kind, verdict, flush=True)


if __name__ == "__main__":
    main()
