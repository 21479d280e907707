"""The shop's folder belongs to the shop: nobody else of the machine looks in."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from witnessmark.machine import close_to_others
from witnessmark.machine import open_to_others as others_may

__all__ = ["make_private", "open_to_others"]

#: Folders whose files are looked at too, beside those of the shop's folder itself.
_INSIDE = ("recordings", "uploads", "packs", "tls", "experience")


def open_to_others(folder: Path) -> list[Path]:
    """Return what others of this machine may read or write, as paths below *folder*."""
    return [path for path in _all(folder) if others_may(path)]


def make_private(folder: Path) -> list[Path]:
    """Take the rights of others away and return what could not be closed.

    Folders become 700, files 600 (originals keep that they cannot be written).
    """
    left = []
    for path in open_to_others(folder):
        try:
            close_to_others(path)
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
