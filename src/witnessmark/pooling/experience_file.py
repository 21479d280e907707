"""The file a shop may give away: blurred counts, the budget they cost, a signature.

Readable JSON. No truck, customer, word, or date finer than a quarter stands in it. Its causes,
tests and results are the packs' ids in the packs' order; a reader of other packs takes what he
knows and leaves the rest.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from witnessmark.errors import InputRefused
from witnessmark.pooling.blurring import Counts, blurred
from witnessmark.pooling.tally import AGES, CLASSES, MINUTES, TABLES, Shape

__all__ = ["SCHEMA", "Experience", "read_experience", "signed_text"]

SCHEMA = "witnessmark-experience/1"
#: A file of all packs holds some 100,000 numbers.
_LARGEST = 16 * 2**20
_EPSILON = (Fraction(1, 100), Fraction(20))


@dataclass(frozen=True, slots=True)
class Experience:
    """One file, its signature checked.

    Attributes:
        shop: the shop's public key, 64 hexadecimal digits: a shop without a name.
        quarter: such as ``2031Q2``.
        epsilon: what this file cost of the budget.
        spent: what the shop's files of all quarters cost together, this one with them.
        causes: family -> causes, in the order of the counts.
        tests: family -> test -> results, in the order of the counts.
        tables: table -> key -> blurred counts as they stand in the file; see :mod:`.tally`. Their
            form is checked where they are brought into an order (:mod:`.cells`).
        text: the whole signed text.
    """

    shop: str
    quarter: str
    epsilon: Fraction
    spent: Fraction
    causes: Mapping[str, Sequence[str]]
    tests: Mapping[str, Mapping[str, Sequence[str]]]
    tables: Mapping[str, Mapping[str, Any]]
    text: str

    def scale(self, name: str) -> float:
        """Return the scale of the blur of a table."""
        table = next(t for t in TABLES if t.name == name)
        return float(table.most / (self.epsilon * table.part))


def signed_text(
    tables: Mapping[str, Mapping[str, Counts]],
    shape: Shape,
    *,
    quarter: str,
    epsilon: Fraction,
    spent: Fraction,
    key: Ed25519PrivateKey,
) -> str:
    """Return the text of the file: every table blurred with its part of the budget, then signed.

    Args:
        tables: of :func:`~witnessmark.pooling.tally.tally`, one customer's part bounded.
        shape: the cells.
        quarter: such as ``2031Q2``.
        epsilon: budget of this file.
        spent: of all the shop's files, this one with them.
        key: the shop's key.
    """
    body: dict[str, Any] = {
        "schema": SCHEMA,
        "shop": key.public_key().public_bytes_raw().hex(),
        "quarter": quarter,
        "budget": {
            "epsilon": str(epsilon),
            "spent_with_this": str(spent),
            "unit": "one customer, all his trucks, one quarter",
            "tables": {t.name: {"most": t.most, "epsilon": str(epsilon * t.part)} for t in TABLES},
        },
        "classes": list(CLASSES),
        "ages": list(AGES),
        "minutes_up_to": list(MINUTES),
        "causes": {f: list(c) for f, c in shape.causes.items()},
        "tests": {f: {t: list(r) for t, r in tests.items()} for f, tests in shape.tests.items()},
    }
    for table in TABLES:
        scale = table.most / (epsilon * table.part)
        body[table.name] = {k: blurred(c, scale).tolist() for k, c in tables[table.name].items()}
    plain = json.dumps(body, separators=(",", ":"), sort_keys=True)
    # Last in the text, so that what is signed is the text before it, byte for byte.
    return f'{plain[:-1]},"signature":"{key.sign(plain.encode()).hex()}"}}\n'


def read_experience(path: Path) -> Experience:
    """Read a file somebody gave and check its form and its signature.

    Raises:
        InputRefused: too large, no such file, another form, or changed after it was signed.
    """
    try:
        if path.stat().st_size > _LARGEST:
            raise _bad(path, "is larger than any such file")
        text = path.read_text(encoding="utf-8")
        plain, signature = _taken_apart(text)
        body = json.loads(plain)
    except OSError:
        raise _bad(path, "cannot be read") from None
    except (ValueError, RecursionError):
        raise _bad(path, "is no JSON text") from None
    if not isinstance(body, dict) or body.get("schema") != SCHEMA:
        raise _bad(path, "is no file of a shop's experience")
    try:
        shop = Ed25519PublicKey.from_public_bytes(bytes.fromhex(body["shop"]))
        shop.verify(bytes.fromhex(signature), plain.encode())
        return _checked(body, text)
    except InvalidSignature:
        raise _bad(path, "was changed after it was signed") from None
    except (KeyError, ValueError, TypeError, AttributeError, OverflowError, ZeroDivisionError):
        raise _bad(path, "lacks what such a file holds") from None


def _checked(body: Mapping[str, Any], text: str) -> Experience:
    epsilon, spent = (
        Fraction(body["budget"]["epsilon"]),
        Fraction(body["budget"]["spent_with_this"]),
    )
    if not _EPSILON[0] <= epsilon <= _EPSILON[1]:
        raise ValueError("epsilon")
    tables = {table.name: body[table.name] for table in TABLES}
    if not all(
        isinstance(held, dict) for held in (body["causes"], body["tests"], *tables.values())
    ):
        raise ValueError("tables")
    return Experience(
        body["shop"].lower(),
        str(body["quarter"]),
        epsilon,
        spent,
        body["causes"],
        body["tests"],
        tables,
        text,
    )


def _taken_apart(text: str) -> tuple[str, str]:
    """Return (what was signed, the signature in hexadecimal digits; empty where there is none)."""
    before, mark, signature = text.rpartition(',"signature":"')
    if not mark:
        return text, ""
    return before + "}", signature.rstrip().removesuffix('"}')


def _bad(path: Path, what: str) -> InputRefused:
    return InputRefused(
        f"The file {what}.", where=path.name, do="Ask the shop for the file again, or leave it out."
    )
