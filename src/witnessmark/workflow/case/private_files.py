"""The shop's folder belongs to the shop: nobody else of the machine looks in."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

__all__ = ["make_private", "open_to_others"]

_OTHERS = 0o077
#: Folders whose files are looked at too, beside those of the shop's folder itself.
_INSIDE = ("recordings", "uploads", "packs", "tls")


def open_to_others(folder: Path) -> list[Path]:
    """Return what others of this machine may read or write, as paths below *folder*."""
    return [path for path in _all(folder) if _mode(path) & _OTHERS]


def make_private(folder: Path) -> list[Path]:
    """Take the rights of others away and return what could not be closed.

    Folders become 700, files 600 (originals keep that they cannot be written).
    """
    if os.name != "posix":
        return []
    left = []
    for path in open_to_others(folder):
        try:
            path.chmod(_mode(path) & ~_OTHERS)
        except OSError:
            left.append(path)
    return left


def _all(folder: Path) -> Iterator[Path]:
    yield folder
    for inside in (folder, *(folder / name for name in _INSIDE)):
        try:
            with os.scandir(inside) as found:
                paths = [Path(e.path) for e in found if not e.is_symlink()]
        except OSError:
            continue
        yield from paths


def _mode(path: Path) -> int:
    try:
        return stat.S_IMODE(path.lstat().st_mode)
    except OSError:
        return 0
