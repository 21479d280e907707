"""Reading one pack file: bytes to parts, all faults at once with their path and line."""

from __future__ import annotations

import contextlib
import copy
import hashlib
import json
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from witnessmark.kept import keep_text, kept_text
from witnessmark.knowledge.parts.pack_parts import SCHEMA, PackFile
from witnessmark.knowledge.reading.from_schema_1 import told_as_written, upgraded
from witnessmark.knowledge.reading.toml_lines import TomlLines
from witnessmark.knowledge.shipped import SHIPPED
from witnessmark.model.problem import Problem

__all__ = ["PackText", "read_pack"]

#: A pack of 60 causes and 100 tests has about 100 kB.
MAX_BYTES = 5_000_000
#: A key of so many parts with dots between is no pack's; the reader would take for ever over it.
_DEEP_KEY = re.compile(r"""^[ \t\[]*(?:[\w"'-]+[ \t]*\.[ \t]*){32}""", re.MULTILINE)
#: Keys of the whole document that are never left out to look further: too much hangs on them.
_BACKBONE = frozenset(PackFile.model_fields) - {"title", "version"}
#: What stands in for a faulty key that a part cannot be read without; its own fault is told.
_STAND_INS: dict[str, Any] = {
    **dict.fromkeys(("words", "name", "title", "version", "id", "source"), "unnamed"),
    **dict.fromkeys(("quantity", "leads", "clue", "test", "result"), "unnamed"),
    **dict.fromkeys(("finding", "outcome", "ask", "answer", "since", "why", "rule"), "unnamed"),
    **dict.fromkeys(("sudden", "gradual", "until", "value"), "unnamed"),
    **dict.fromkeys(("base", "sensitivity", "false_alarm"), 0.5),
    **dict.fromkeys(("required", "answers", "reported_by"), ()),
    **dict.fromkeys(("spn", "fmi"), 0),
    "given": {},
    "kind": "judgement",
    "odds": 1.0,
}
_STEP = re.compile(r"\[(\d+)\]|([^.\[\]]+)")


@dataclass(frozen=True, slots=True)
class PackText:
    """A pack file that could be read.

    Attributes:
        where: file name for the sentences.
        digest: sha256 of its bytes.
        pack: its parts.
        lines: on which line of the file each key stands.
        moved: whether it was written in form 1.0, where some keys stood elsewhere.
    """

    where: str
    digest: str
    pack: PackFile
    lines: TomlLines = field(default_factory=lambda: TomlLines(""), compare=False, repr=False)
    moved: bool = False

    def place(self, path: str) -> str:
        """Return file, line and path of a place in the document, such as ``causes[0].minutes``."""
        steps = tuple(int(n) if n else key for n, key in _STEP.findall(path))
        if self.moved:
            told = told_as_written(steps)
            path = path if told == steps else _text_of(told)
            steps = told
        return _place(self.where, self.lines, steps, path)


def read_pack(
    path: Path, rename: Callable[[Any], Any] | None = None
) -> tuple[PackText | None, list[Problem]]:
    """Read one pack file.

    Args:
        path: the file.
        rename: what brings the ids of an old pack up to date.

    Returns:
        The pack, and every fault of form. A pack with faults of form comes without the faulty
        parts, so that what the others say can be checked too; ``None`` when that cannot be done.
    """
    where = path.name
    try:
        with path.open("rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except OSError as error:
        reason = "is a folder" if path.is_dir() else (error.strerror or "cannot be read").lower()
        return None, [Problem(where, f"The file cannot be read: {reason}.", "Check its name.")]
    if len(raw) > MAX_BYTES:
        return None, [Problem(where, "The file is too large for a pack.", "Check what it holds.")]
    if rename is None:
        found, faults = _understood(where, raw, path.parent == SHIPPED)
        return found, list(faults)
    return _understand(where, raw, rename)


@lru_cache(maxsize=96)
def _understood(
    where: str, raw: bytes, shipped: bool
) -> tuple[PackText | None, tuple[Problem, ...]]:
    """Return a pack and its faults; the same bytes are read once, and shipped ones kept as JSON."""
    text, faults = _understand(where, raw, None, kept=shipped)
    return text, tuple(faults)


def _understand(
    where: str, raw: bytes, rename: Callable[[Any], Any] | None, *, kept: bool = False
) -> tuple[PackText | None, list[Problem]]:
    try:
        text = raw.decode("utf-8-sig")
        if _DEEP_KEY.search(text):
            raise RecursionError("a key has more than 32 parts")
        document = _kept_document(text) if kept else tomllib.loads(text)
    except UnicodeDecodeError:
        return None, [Problem(where, "The file is not UTF-8 text.", "Save it as UTF-8.")]
    except (ValueError, RecursionError) as error:  # also a number of thousands of digits
        return None, [
            Problem(
                where,
                f"The file is not whole TOML: {str(error)[:200]}.",
                "Correct that place; the check goes on from there.",
            )
        ]
    document = document if rename is None else rename(document)
    return _parts(document, where, hashlib.sha256(raw).hexdigest(), TomlLines(text))


def _kept_document(text: str) -> dict[str, Any]:
    """Return what a TOML text holds, as an earlier run has kept it: JSON is read ten times faster.

    Only for texts that are few and stay: what is kept is never thrown away.
    """
    key = f"toml {hashlib.sha256(text.encode()).hexdigest()}"
    held = kept_text(key)
    if held is not None:
        with contextlib.suppress(ValueError):
            found = json.loads(held)
            if isinstance(found, dict):
                return found
    document = tomllib.loads(text)
    with contextlib.suppress(TypeError):  # a date; no shipped pack has one
        keep_text(key, json.dumps(document))
    return document


def _place(where: str, lines: TomlLines, steps: tuple[int | str, ...], path: str) -> str:
    line = lines.line(steps)
    return f"{where}: {path}" if line is None else f"{where} line {line}: {path}"


def _parts(
    written: dict[str, Any], where: str, digest: str, lines: TomlLines
) -> tuple[PackText | None, list[Problem]]:
    document = upgraded(written, SCHEMA)
    moved = document is not written
    if document.get("schema") != SCHEMA:
        problem = Problem(
            _place(where, lines, ("schema",), "schema"),
            f"The pack says {document.get('schema')!r:.60}; this program reads '{SCHEMA}'.",
            f'Write schema = "{SCHEMA}" and bring the fields up to it.',
        )
        return None, [problem]
    try:
        return PackText(where, digest, PackFile.model_validate(document), lines, moved), []
    except ValidationError as error:
        found: dict[str, Problem] = {}
        passed: dict[str, Problem] = {}
        for item in error.errors(include_url=False, include_context=False):
            steps = _steps(document, item["loc"])
            steps = told_as_written(steps) if moved else steps
            path = _text_of(steps)
            place = _place(where, lines, steps, path)
            told = passed if _other_branch(item, path in found) else found
            told[path] = Problem(place, _sentence(item), _remedy(item))
        # A value that is of neither form has only such faults: then they are what is wrong.
        for path, problem in passed.items():
            if not any(at == path or at.startswith((f"{path}.", f"{path}[")) for at in found):
                found[path] = problem
        rest = _rest(document, error)
        text = None if rest is None else PackText(where, digest, rest, lines, moved)
        return text, list(found.values())


def _rest(document: dict[str, Any], error: ValidationError) -> PackFile | None:
    """Return the pack without its faulty keys, ``None`` where too much would hang on them.

    A key that a part cannot be read without is replaced by a stand-in.
    """
    left = copy.deepcopy(document)
    faulty: dict[tuple[int, str], tuple[dict[str, Any], str]] = {}
    for item in error.errors(include_url=False, include_context=False):
        if item["loc"] == ("sources",):
            left["sources"] = {}
            continue
        if item["type"] == "missing":
            continue
        holder = _holder(left, item["loc"])
        if holder is None:
            return None
        if holder[0] is left and holder[1] in _BACKBONE and item["type"] != "extra_forbidden":
            return None
        faulty[id(holder[0]), holder[1]] = holder
    for part, key in faulty.values():
        del part[key]
    try:
        return PackFile.model_validate(left)
    except ValidationError as still:
        return _stood_in(left, still)


def _holder(document: Any, loc: tuple[int | str, ...]) -> tuple[dict[str, Any], str] | None:
    """Return the innermost table on the way to a fault, and its key there."""
    holder, at = None, document
    for step in loc:
        if isinstance(at, dict) and step in at:
            holder = (at, str(step))
            at = at[step]
        elif isinstance(at, list) and isinstance(step, int) and step < len(at):
            at = at[step]
    return holder


def _stood_in(left: dict[str, Any], error: ValidationError) -> PackFile | None:
    """Return the pack with stand-ins for the keys it lacks, ``None`` where there is none."""
    for number, item in enumerate(error.errors(include_url=False, include_context=False)):
        at: Any = left
        for step in item["loc"][:-1]:
            known = isinstance(at, list | dict) and (isinstance(at, list) or step in at)
            at = at[step] if known else None
        key = str(item["loc"][-1])
        if item["type"] != "missing" or not isinstance(at, dict) or key not in _STAND_INS:
            return None
        at[key] = f"unnamed_{number}" if key == "id" else _STAND_INS[key]
    try:
        return PackFile.model_validate(left)
    except ValidationError:
        return None


def _steps(document: object, loc: tuple[int | str, ...]) -> tuple[int | str, ...]:
    """Return the way to a fault; branches of a union are no part of the document and fall away."""
    found: list[int | str] = []
    at: Any = document
    for step in loc:
        if isinstance(step, int):
            found.append(step)
            at = at[step] if isinstance(at, list) and step < len(at) else None
        elif isinstance(at, dict) and step in at:
            found.append(step)
            at = at[step]
        elif isinstance(at, dict) and step.isidentifier() and step.islower():
            found.append(step)
            at = None
    return tuple(found)


def _text_of(steps: tuple[int | str, ...]) -> str:
    text = "".join(f"[{s}]" if isinstance(s, int) else f".{s}" for s in steps)
    return text.removeprefix(".") or "the whole document"


def _other_branch(item: Any, told: bool) -> bool:
    """Whether it only says that a value is not of the other form that would be allowed too."""
    kind, given = item["type"], item["input"]
    if kind == "float_type" and isinstance(given, list):
        return True
    if kind in {"string_type", "tuple_type"} and isinstance(given, dict):
        return True
    if kind == "model_type" and isinstance(given, str | list) and told:
        return True
    return told and isinstance(given, int | float)


def _sentence(item: Any) -> str:
    if item["type"] == "extra_forbidden":
        return "This key is not part of the pack format."
    if item["type"] == "missing":
        return "This key is missing."
    message = str(item["msg"]).removeprefix("Value error, ")
    return f"{message[:1].upper()}{message[1:]}; the pack says {item.get('input')!r:.80}."


def _remedy(item: Any) -> str:
    if item["type"] == "extra_forbidden":
        return "Check the spelling; docs/pack_fields.md lists every key."
    return "docs/pack_fields.md says what belongs here."
