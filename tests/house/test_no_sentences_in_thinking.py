"""No sentence stands in physics, inference or planner: they are formed in words/.

Found by syntax tree: string constants of three or more words, the parts of an f-string joined.
Docstrings, what is raised or warned, and the arguments of a log are no sentences for people who
read a page; a problem's words (where, what, what to do) are errors too.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

from conftest import ROOT

SRC = ROOT / "src" / "witnessmark"
ROOMS = ("physics", "inference", "planner")
#: A figure's own source, and what a model is examined by, are read by who checks the figure.
_SOURCES = re.compile(r"^Example$")
#: Modules of one table of sourced figures, and the examination of a plug: read by its programmer.
_TABLES = {"physics/fuel/supply_types.py", "inference/model_checks.py"}
#: Names of verdicts, of a pack's placeholder and of a drive: keys, no sentences.
_NAMES = {"not enough evidence", "see family safety", "camshaft and fuel pump"}
_ERRORS = re.compile(r"(Refused|Error|Problem|Warning|NotRun)$|^(warn|debug|info|_refuse\w*)$")
#: Modules that still form sentences, with how many: it may only shrink.
STILL: dict[str, int] = {}


def _words(node: ast.expr) -> str:
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(v.value) if isinstance(v, ast.Constant) else "{}" for v in node.values)
    return ""


def _name(call: ast.Call) -> str:
    return getattr(call.func, "id", getattr(call.func, "attr", ""))


def _kept(node: ast.AST) -> Iterator[ast.AST]:
    """Walk what may hold a sentence: no docstrings, nothing raised, no problems."""
    if isinstance(node, ast.Raise):
        return
    if isinstance(node, ast.Call) and (_ERRORS.search(_name(node)) or _SOURCES.match(_name(node))):
        return
    if isinstance(node, ast.AnnAssign) and getattr(node.target, "id", "") == "source":
        return  # the default source of a figure
    if isinstance(node, ast.Assign) and any(getattr(t, "id", "") == "_WORDS" for t in node.targets):
        return  # a pattern that reads words, and forms none
    yield node
    if isinstance(node, ast.JoinedStr):
        return
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
            continue  # a docstring, or a note in the code
        yield from _kept(child)


def sentences(path: Path) -> list[tuple[int, str]]:
    """Return the line and the words of each sentence that a module forms."""
    found = []
    for node in _kept(ast.parse(path.read_text(encoding="utf-8"))):
        said = _words(node) if isinstance(node, ast.expr) else ""
        if said in _NAMES:
            continue
        if len(re.findall(r"[A-Za-z]{2,}", said.replace("{}", " "))) >= 3 and " " in said:
            found.append((node.lineno, said))  # type: ignore[attr-defined]
    return found


def test_no_sentence_is_formed_in_a_thinking_room() -> None:
    found = {
        str(path.relative_to(SRC)): said
        for room in ROOMS
        for path in sorted((SRC / room).rglob("*.py"))
        if str(path.relative_to(SRC)) not in _TABLES
        if (said := sentences(path))
    }
    grown = {p: said for p, said in found.items() if len(said) > STILL.get(p, 0)}
    assert not grown, "\n".join(f"{p}:{n}: {t}" for p, rows in grown.items() for n, t in rows)
    shrunk = {p: n for p, n in STILL.items() if len(found.get(p, ())) < n}
    assert not shrunk, f"fewer sentences than the list says: shorten it: {shrunk}"


def test_a_planted_sentence_is_found(tmp_path: Path) -> None:
    path = tmp_path / "planted.py"
    path.write_text(
        '"""A docstring with many words."""\n'
        'X = f"the pump {1} is worn"\n'
        'raise ValueError("this is an error of input")\n'
    )
    assert [line for line, _ in sentences(path)] == [2]
