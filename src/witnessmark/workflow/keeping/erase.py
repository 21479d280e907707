"""Erasing a person's data on request, from book and backups; the chain still holds."""

from __future__ import annotations

import json
import re
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

from witnessmark.casebook.faults import in_words
from witnessmark.casebook.files import Originals
from witnessmark.casebook.store import Casebook
from witnessmark.errors import InputRefused, NotFound
from witnessmark.machine import to_disk
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.lessons_kept import forget_lessons
from witnessmark.workflow.keeping.backup import _hash, states
from witnessmark.workflow.keeping.backup import _write as write
from witnessmark.workflow.papers.ask_customer import ASKED_NAME

__all__ = ["ERASED", "Erased", "erase"]

ERASED = "(erased)"
#: Kind of entry -> its fields that speak of a person or a customer.
_PERSONAL = {
    "truck": ("customer", "phone", "plate", "vin", "email", "address"),
    "inspection": ("carrier", "carrier_address"),
    "approval": ("by", "called"),
}
#: What an approval says is wiped in the case itself: "Joe" is looked for nowhere else.
_OWN_ALONE = frozenset({("approval", "by")})
_SHORTEST = 3


@dataclass(frozen=True, slots=True)
class Erased:
    """What was erased.

    Attributes:
        cases: cases of the book that were changed.
        lines: lines of the book that were written anew.
        states: states of backups that were written anew.
        words: what was looked for, how many of them; the words themselves are kept nowhere.
    """

    cases: int
    lines: int
    states: int
    words: int


def erase(
    shop: Shop, case_id: str, *, words: Sequence[str] = (), backups: Sequence[Path] = ()
) -> Erased:
    """Erase a customer's data from a case, from every other case, and from backups.

    What stands in the personal fields of the case's truck, inspection and approvals, and each of
    *words*, is replaced wherever it stands in any text of any case. Ids, times, quantities and the
    chain stay. Pages that asked the customer for a yes are thrown away; their digests stay.

    Raises:
        NotFound: no such case.
        InputRefused: nothing to look for, or a word too short to be somebody's.
    """
    wanted = _wanted(shop.casebook, case_id, words)
    pattern = re.compile("|".join(map(_pattern, wanted)), re.IGNORECASE)
    for sha256 in _asked(shop.casebook, shop.originals, pattern, case_id):
        shop.originals.remove(sha256)
    cases, lines = _in_casebook(shop.casebook, pattern, case_id)
    _forget_bytes(shop.casebook)
    forget_lessons(shop)
    for old in shop.folder.glob("casebook.before-*.sqlite*"):
        old.unlink()  # a copy of the book before a change of version would still say it
    count = 0
    for target in backups:
        away = Originals(target / "originals")
        gone: set[str] = set()
        for state in states(target):
            changed, pages = _in_state(state.folder, away, pattern, case_id)
            count += changed
            gone |= pages
        for sha256 in gone:
            away.remove(sha256)
    return Erased(cases, lines, count, len(wanted))


def _wanted(casebook: Casebook, case_id: str, words: Sequence[str]) -> list[str]:
    found = [" ".join(word.split()) for word in words]
    for line in casebook.lines(case_id):
        document = _document(line)
        data = document.get("data") if document is not None else None
        if document is not None and isinstance(data, dict):
            kind = str(document.get("kind"))
            asked = (f for f in _PERSONAL.get(kind, ()) if (kind, f) not in _OWN_ALONE)
            found += [data[f] for f in asked if isinstance(data.get(f), str)]
    wanted = sorted({w for w in found if w and w != ERASED}, key=len, reverse=True)
    if not wanted:
        raise InputRefused(
            "There is nothing to erase.", do="Say the name, number or plate with --words."
        )
    short = [w for w in wanted if len(w) < _SHORTEST]
    if short:
        raise InputRefused(
            f"A word of {len(short[0])} letters would be erased from everywhere.",
            do=f"Give at least {_SHORTEST} letters.",
        )
    return wanted


def _pattern(word: str) -> str:
    """Match a word however its spaces and dashes were typed; a number by its digits."""
    digits = re.sub(r"\D", "", word)
    if len(digits) >= 6 and len(digits) >= len(re.sub(r"[\s()+./-]", "", word)):
        # Numbers are written with and without the code of their country.
        code, local = (digits[:-10], digits[-10:]) if len(digits) > 10 else ("", digits)
        gap = r"[\s()+./-]*"
        before = rf"(?:\+?\s*{gap.join(code)}{gap})?" if code else ""
        return before + gap.join(local)
    return r"\s+".join(map(re.escape, word.split()))


def _asked(
    casebook: Casebook, originals: Originals, pattern: re.Pattern[str], own: str
) -> set[str]:
    """Let the book speak no more of pages that asked this customer for a yes; their digests.

    A page that cannot be read just now is not passed over: it may name him.
    """
    found = set()
    for sha256, name in casebook.file_names().items():
        case = ASKED_NAME.fullmatch(name)
        if case is None:
            continue
        try:
            text = originals.path(sha256).read_text(encoding="utf-8", errors="replace")
        except NotFound:
            text = ""
        if case[1] == own or pattern.search(unescape(text)):
            found.add(sha256)
    casebook.forget_files(found)
    return found


def _in_casebook(casebook: Casebook, pattern: re.Pattern[str], own: str) -> tuple[int, int]:
    cases = lines = 0
    for row in casebook.cases():
        changed = {}
        for position, line in enumerate(casebook.lines(row.id)):
            fresh = _without(line, pattern, personal=row.id == own)
            if fresh != line:
                changed[position] = fresh
        if changed:
            casebook.erase(row.id, changed)
            cases, lines = cases + 1, lines + len(changed)
    names = {k: pattern.sub(ERASED, v) for k, v in casebook.file_names().items()}
    casebook.rename_files({k: v for k, v in names.items() if ERASED in v})
    return cases, lines


def _without(line: str, pattern: re.Pattern[str], *, personal: bool) -> str:
    document = _document(line)
    if document is None:
        return pattern.sub(ERASED, line)
    data = _cleaned(document.get("data"), pattern)
    fields = _PERSONAL.get(str(document.get("kind")), ()) if personal else ()
    if isinstance(data, dict):
        data = {k: ERASED if k in fields else v for k, v in data.items()}
    if data == document.get("data"):
        rest = {k: _cleaned(v, pattern) for k, v in document.items() if k not in _FIXED}
        if all(document[k] == v for k, v in rest.items()):
            return line
    fresh = {k: v if k in _FIXED else _cleaned(v, pattern) for k, v in document.items()}
    fresh["data"] = data
    return json.dumps(fresh, ensure_ascii=False, separators=(",", ":"))


_FIXED = frozenset({"kind", "id", "at", "schema"})


def _cleaned(value: Any, pattern: re.Pattern[str]) -> Any:
    if isinstance(value, str):
        return pattern.sub(ERASED, value)
    if isinstance(value, list):
        return [_cleaned(v, pattern) for v in value]
    if isinstance(value, dict):
        return {pattern.sub(ERASED, k): _cleaned(v, pattern) for k, v in value.items()}
    return value


def _document(line: str) -> dict[str, Any] | None:
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _forget_bytes(casebook: Casebook) -> None:
    """Write the file anew, so that no free page of it still holds what was erased."""
    path = casebook.database.path
    if path is None:
        return
    casebook.close()
    with in_words(str(path)), closing(sqlite3.connect(path, timeout=30)) as book:
        book.isolation_level = None
        book.execute("VACUUM")
        book.execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _in_state(
    folder: Path, originals: Originals, pattern: re.Pattern[str], own: str
) -> tuple[int, set[str]]:
    path = folder / "casebook.sqlite"
    book = Casebook(f"sqlite:///{path.resolve()}")
    try:
        pages = _asked(book, originals, pattern, own)
        _, lines = _in_casebook(book, pattern, own)
        _forget_bytes(book)
    finally:
        book.close()
    for old in folder.glob("casebook.before-*.sqlite*"):
        old.unlink()
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("PRAGMA journal_mode=DELETE")
    manifest = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    manifest["files"]["casebook.sqlite"] = _hash(path)
    manifest["originals"] = [o for o in manifest["originals"] if o not in pages]
    fresh = folder / ".manifest.new"
    write(fresh, json.dumps(manifest, indent=1))
    fresh.replace(folder / "manifest.json")
    to_disk(folder)
    return int(lines > 0 or bool(pages)), pages
