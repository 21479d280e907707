"""Does the suite notice a small wrong change? Seeded mutations of the thinking rooms.

One mutant is one changed operator, comparison, sign, bound or constant in one function of one
module. The nearest test files that reach the module are run against it, in one process, until a
test fails ("killed") or all have passed ("alive": within so many files, which the row names). A
test that fails on the unchanged tree too kills nothing. What is alive is looked at by a person: a
real gap, or a change that changes nothing ("equivalent").

    python studies/mutations/run.py --seed 20261129 --mutants 60 --out studies/mutations/rows.jsonl
    python studies/mutations/tabulate.py

Every mutant has its own line in the rows, written as soon as it is judged, so a run that was ended
goes on where it stopped. A run with more files or a larger budget judges again what an earlier one
left alive or not decided; the last line of a mutant counts. Nothing in the working tree is changed:
a copy is mutated.
"""

from __future__ import annotations

import argparse
import ast
import json
import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
from collections import deque
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("physics", "analyses", "inference", "planner", "model", "knowledge", "readers", "words")
#: At most so much processor time of tests a mutant, in seconds; beyond it is "not decided".
BUDGET_S = 600
#: Most memory of a test run [B]: a change that asks for all of it is stopped.
MEMORY = 6 * 2**30
#: At most so many test files a mutant, the nearest.
FILES = 10
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
        kind: what was done.
        before: the expression before.
        after: the expression after.
        number: which of the module's changeable places.
    """

    module: str
    line: int
    kind: str
    before: str
    after: str
    number: int


class _Change(ast.NodeTransformer):
    """Change the *wanted*-th changeable place, and count the places."""

    def __init__(self, wanted: int) -> None:
        self.wanted = wanted
        self.places = 0
        self.made: tuple[int, str, str, str] | None = None

    def _here(self) -> bool:
        self.places += 1
        return self.places - 1 == self.wanted

    def _note(self, kind: str, old: ast.expr, new: ast.expr) -> ast.expr:
        self.made = (old.lineno, kind, ast.unparse(old), ast.unparse(new))
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
        line, kind, before, after = change.made
        module = path.relative_to(ROOT / "src" / "witnessmark").as_posix()
        found.append(Mutant(module, line, kind, before, after, number))
    return found


@cache
def imports(path: Path) -> set[str]:
    """Return the modules of the package that a file imports."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module)
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.startswith("witnessmark")}


def distances(module: str) -> dict[str, int]:
    """Return module -> steps of import from it down to the mutated one."""
    files = {
        ".".join(p.relative_to(ROOT / "src").with_suffix("").parts).removesuffix(".__init__"): p
        for p in (ROOT / "src").rglob("*.py")
    }
    users: dict[str, set[str]] = {}
    for name, path in files.items():
        for used in imports(path):
            users.setdefault(used, set()).add(name)
    start = "witnessmark." + module.removesuffix(".py").replace("/", ".")
    far, waiting = {start: 0}, deque([start])
    while waiting:
        name = waiting.popleft()
        for user in sorted(users.get(name, ())):
            if user not in far:
                far[user] = far[name] + 1
                waiting.append(user)
    return far


def tests_of(module: str, most: int) -> list[str]:
    """Return the test files that reach a module, the nearest and smallest first."""
    far = distances(module)
    room, stem = module.split("/", maxsplit=1)[0], Path(module).stem
    rated = []
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        if "browser" in path.name or path.parts[-2] in {"demo", "casebook"}:
            continue  # slow, and they judge nothing that the nearer ones do not
        reached = [far[m] for m in imports(path) if m in far]
        near = min(reached, default=9) - (path.parts[-2] == room)
        near -= stem in path.read_text(encoding="utf-8")
        if near <= 4 or path.parts[-2] == "journeys":
            rated.append((near, path.stat().st_size, path))
    return [path.relative_to(ROOT).as_posix() for _, _, path in sorted(rated)[:most]]


def ran(copy: Path, what: list[str], budget_s: float) -> tuple[int, str]:
    """Run tests in the copy; return pytest's code (-9 for out of budget) and the failed test."""

    def bound() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (int(budget_s), int(budget_s) + 5))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))

    try:
        told = subprocess.run(  # noqa: S603 -- our own tests
            [sys.executable, "-m", "pytest", "-x", "-q", "--tb=no", "-p", "no:cacheprovider",
             *what],
            cwd=copy, env={**os.environ, "PYTHONPATH": str(copy / "src")}, text=True,
            capture_output=True, check=False, preexec_fn=bound, timeout=budget_s * 30,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return -9, ""
    failed = [
        line.split()[1]
        for line in told.stdout.splitlines()
        if line.startswith(("FAILED tests", "ERROR tests"))
    ]
    return (-9 if told.returncode < 0 else told.returncode), (failed or [""])[0]


def judge(mutant: Mutant, copy: Path, budget_s: float, most: int) -> tuple[str, list[str]]:
    """Return ``killed by TEST``, ``alive`` or ``not decided``, and the test files that ran."""
    target = copy / "src" / "witnessmark" / mutant.module
    whole = (ROOT / "src" / "witnessmark" / mutant.module).read_text(encoding="utf-8")
    files, broken = tests_of(mutant.module, most), list[str]()
    while True:
        target.write_text(changed(whole, mutant.number)[0], encoding="utf-8")
        try:
            code, failed = ran(copy, [*files, *(f"--deselect={t}" for t in broken)], budget_s)
        finally:
            target.write_text(whole, encoding="utf-8")
        if code in {0, 5}:
            return "alive", files
        if code == -9:
            return "not decided", files
        # Nothing is killed by a test that fails without the change as well.
        alone = ran(copy, [failed], budget_s)[0] if failed else 0
        if alone in {0, 5}:
            return f"killed by {failed or 'not even loading'}", files
        if alone == -9:
            return "not decided", files
        broken.append(failed)


def main() -> None:
    """Draw the mutants and judge each against the tests that reach it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--mutants", type=int, default=60)
    parser.add_argument("--budget", type=float, default=BUDGET_S)
    parser.add_argument("--files", type=int, default=FILES)
    parser.add_argument("--worker", type=int, default=0, help="which of the workers this is")
    parser.add_argument("--workers", type=int, default=1, help="each judges every n-th mutant")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_name("rows.jsonl"))
    said = parser.parse_args()
    done = set()
    if said.out.exists():
        rows = [json.loads(line) for line in said.out.read_text(encoding="utf-8").splitlines()]
        done = {
            (r["module"], r["number"])
            for r in rows
            if r["seed"] == said.seed
            and (
                r["verdict"].startswith("killed")
                or (r["budget_s"] >= said.budget and r["files_asked"] >= said.files)
            )
        }
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        copy = Path(folder) / "tree"
        for name in ("src", "tests", "docs", "studies", "benchmarks"):
            shutil.copytree(ROOT / name, copy / name, ignore=shutil.ignore_patterns("__pycache__"))
        for name in ("pyproject.toml", "README.md", "CHANGELOG.md", "Makefile"):
            shutil.copy(ROOT / name, copy / name)
        (Path(folder) / "shared").symlink_to(ROOT.parent / "shared")
        for mutant in drawn(said.seed, said.mutants)[said.worker :: said.workers]:
            if (mutant.module, mutant.number) in done:
                continue
            verdict, files = judge(mutant, copy, said.budget, said.files)
            row = {
                "seed": said.seed, **asdict(mutant), "verdict": verdict,
                "budget_s": said.budget, "files_asked": said.files, "files": files,
            }  # fmt: skip
            with said.out.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
            print(mutant.module, mutant.line, mutant.kind, verdict, flush=True)


if __name__ == "__main__":
    main()
