"""What a user named the columns of a table once, remembered for every file with that heading."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

from witnessmark.errors import InputRefused

__all__ = ["recall", "remember"]

Columns = dict[str, dict[str, str]]


def recall(path: Path) -> Columns:
    """Return header key -> column -> name, as remembered in *path*; nothing where it is not there.

    Raises:
        InputRefused: the file is damaged.
    """
    if not path.is_file():
        return {}
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(found, dict):
            raise ValueError("not an object")
        return {
            str(key): {str(c): str(n) for c, n in columns.items()} for key, columns in found.items()
        }
    except (ValueError, AttributeError, OSError):
        raise InputRefused(
            "The remembered names of columns cannot be read.",
            where=str(path),
            do="Delete the file and name the columns again.",
        ) from None


def remember(path: Path, header_key: str, columns: Mapping[str, str]) -> None:
    """Add the names of one heading to *path*; other headings keep theirs."""
    known = recall(path)
    known.setdefault(header_key, {}).update(columns)
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    part.write_text(json.dumps(known, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
    part.replace(path)
