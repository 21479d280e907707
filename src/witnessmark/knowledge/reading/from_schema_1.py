"""Packs of the form ``witnessmark.pack/1.0``, as shops have written them: read as form 2.0.

Nothing a shop wrote is lost: every key of form 1.0 has the same name and meaning in form 2.0, but
for ``family.together``, which is a table of its own now.
"""

from __future__ import annotations

from typing import Any

__all__ = ["SCHEMA_1", "told_as_written", "upgraded"]

SCHEMA_1 = "witnessmark.pack/1.0"
#: Keys that moved: where they stand in form 2.0 -> where the shop wrote them.
_MOVED: dict[tuple[str, ...], tuple[str, ...]] = {("together",): ("family", "together")}


def upgraded(document: dict[str, Any], schema: str) -> dict[str, Any]:
    """Return a document of form 1.0 as one of form 2.0; any other as it is.

    Args:
        document: the parsed text.
        schema: name of form 2.0.
    """
    if document.get("schema") != SCHEMA_1:
        return document
    new = {**document, "schema": schema}
    family = document.get("family")
    if isinstance(family, dict) and "together" in family and "together" not in document:
        new["family"] = {k: v for k, v in family.items() if k != "together"}
        new["together"] = family["together"]
    return new


def told_as_written(loc: tuple[int | str, ...]) -> tuple[int | str, ...]:
    """Return where a shop wrote, in form 1.0, what stands at *loc* in form 2.0."""
    for now, before in _MOVED.items():
        if loc[: len(now)] == now:
            return (*before, *loc[len(now) :])
    return loc
