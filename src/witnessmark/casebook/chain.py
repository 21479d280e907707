"""The chain through the lines of a case: each link holds the one before and the line's digest.

A line that was changed, taken out or put in later breaks it. The digest is salted, so that
erasing a person's data (line rewritten, salt thrown away) leaves the chain whole and nothing
behind from which a name or a number could be guessed.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["Link", "broken", "first_link", "line_digest", "link", "new_salt"]


@dataclass(frozen=True, slots=True)
class Link:
    """What is stored of one line to prove it."""

    position: int
    line: str
    added: str
    added_by: str
    salt: str
    digest: str
    chain: str
    erased: bool


def new_salt() -> str:
    """Return a salt for one line."""
    return secrets.token_hex(16)


def line_digest(salt: str, line: str) -> str:
    """Return the salted digest of a line."""
    return hashlib.sha256(salt.encode() + b"\n" + line.encode("utf-8", "surrogatepass")).hexdigest()


def first_link(case_id: str) -> str:
    """Return what the chain of a case begins with."""
    return hashlib.sha256(b"witnessmark case\n" + case_id.encode()).hexdigest()


def link(before: str, position: int, digest: str, added: str, added_by: str) -> str:
    """Return the next link."""
    text = "\n".join((before, str(position), digest, added, added_by))
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def broken(case_id: str, links: Iterable[Link]) -> list[tuple[int, str]]:
    """Return (position, what is wrong) of every place where the chain does not hold."""
    found = []
    before = first_link(case_id)
    for expected, one in enumerate(links):
        if one.position != expected:
            found.append((expected, "a line is missing here"))
            return found
        if not one.erased and line_digest(one.salt, one.line) != one.digest:
            found.append((one.position, "the line is not the one that was stored"))
        if link(before, one.position, one.digest, one.added, one.added_by) != one.chain:
            found.append((one.position, "its link to the line before does not hold"))
        before = one.chain
    return found
