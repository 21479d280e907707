"""What is dear to make and the same every time, kept on disk between runs.

Everything kept can be made again: a file that is missing, damaged, of another version or of a
stranger is as if it were not there, and a folder that cannot be written keeps nothing. Files are
written aside and then renamed, so a reader sees a whole one or none. They hold numbers and text
only: reading one runs nothing.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import mmap
import os
import struct
import tempfile
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from witnessmark.machine import written_by_others

__all__ = ["FOLDER_VARIABLE", "keep_arrays", "keep_text", "kept_arrays", "kept_text"]

#: Names the folder; empty: keep nothing.
FOLDER_VARIABLE = "WITNESSMARK_CACHE"
#: Layout of the files; part of every name.
_LAYOUT = 1
_MAGIC = b"wmkept\x01\n"
_TYPES = frozenset({"<f8", "<f4", "<i8", "|b1"})
_ALIGNED = 64
Array = npt.NDArray[np.generic]


def kept_text(key: str) -> str | None:
    """Return the text kept under a key, ``None`` where there is none or it is damaged."""
    held = _read(key)
    if held is None or len(held) < len(_MAGIC) + 32 or held[: len(_MAGIC)] != _MAGIC:
        return None
    digest, body = held[len(_MAGIC) : len(_MAGIC) + 32], held[len(_MAGIC) + 32 :]
    if hashlib.sha256(body).digest() != digest:
        return None
    try:
        return bytes(body).decode("utf-8")
    except UnicodeDecodeError:
        return None


def keep_text(key: str, text: str) -> None:
    """Keep a text; what it depends on stands in the key."""
    body = text.encode("utf-8")
    _write(key, (_MAGIC, hashlib.sha256(body).digest(), body))


def kept_arrays(key: str) -> dict[str, Array] | None:
    """Return the arrays kept under a key, read only, ``None`` where there are none.

    Their pages are read from disk when they are used.
    """
    path = _path(key)
    if path is None or not _ours(path):
        return None
    try:
        with path.open("rb") as file:
            view = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
    except (OSError, ValueError):
        return None
    try:
        return _arrays_in(view)
    except (ValueError, KeyError, TypeError, struct.error):
        return None


def keep_arrays(key: str, arrays: Mapping[str, Array]) -> None:
    """Keep arrays of numbers under a key."""
    plain = {n: np.ascontiguousarray(a) for n, a in arrays.items()}
    rows: list[tuple[str, str, list[int], int]] = []
    at = 0
    for name, array in plain.items():
        rows.append((name, array.dtype.str, list(array.shape), at))
        at += -(-array.nbytes // _ALIGNED) * _ALIGNED
    if any(row[1] not in _TYPES for row in rows):
        raise TypeError("only plain numbers are kept")
    head = json.dumps({"arrays": rows, "bytes": at}).encode()
    lead = len(_MAGIC) + 8 + 32
    head += b" " * (-(lead + len(head)) % _ALIGNED)
    parts = [_MAGIC, struct.pack("<q", len(head)), hashlib.sha256(head).digest(), head]
    for array in plain.values():
        parts += [array.tobytes(), b"\0" * (-array.nbytes % _ALIGNED)]
    _write(key, parts)


def _arrays_in(view: mmap.mmap) -> dict[str, Array]:
    lead = len(_MAGIC) + 8 + 32
    if view[: len(_MAGIC)] != _MAGIC:
        raise ValueError("another layout")
    (length,) = struct.unpack("<q", view[len(_MAGIC) : len(_MAGIC) + 8])
    head = view[lead : lead + length]
    if not 0 < length < len(view) or hashlib.sha256(head).digest() != view[lead - 32 : lead]:
        raise ValueError("damaged")
    told = json.loads(head)
    start = lead + length
    if start + int(told["bytes"]) != len(view):
        raise ValueError("cut short")
    found: dict[str, Array] = {}
    for name, kind, shape, at in told["arrays"]:
        if kind not in _TYPES:
            raise ValueError("no plain numbers")
        count = int(np.prod(shape, dtype=np.int64))
        flat = np.frombuffer(view, dtype=np.dtype(kind), count=count, offset=start + at)
        found[name] = flat.reshape(shape)
    return found


def _read(key: str) -> bytes | None:
    path = _path(key)
    if path is None or not _ours(path):
        return None
    try:
        return path.read_bytes()
    except OSError:
        return None


def _write(key: str, parts: tuple[bytes, ...] | list[bytes]) -> None:
    path = _path(key)
    if path is None:
        return
    with contextlib.suppress(OSError):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        if not _ours(path.parent):
            return
        handle, aside = tempfile.mkstemp(dir=path.parent, prefix=".new-")
        try:
            with os.fdopen(handle, "wb") as file:
                file.writelines(parts)
            Path(aside).replace(path)
        except OSError:
            Path(aside).unlink(missing_ok=True)
            raise


def _path(key: str) -> Path | None:
    folder = _folder(os.environ.get(FOLDER_VARIABLE), os.environ.get("XDG_CACHE_HOME"))
    if folder is None:
        return None
    name = hashlib.sha256(f"{_LAYOUT}\n{key}".encode()).hexdigest()[:40]
    return folder / name


@lru_cache(maxsize=4)
def _folder(named: str | None, user: str | None) -> Path | None:
    if named is not None:
        return Path(named) if named else None
    if user and Path(user).is_absolute():
        return Path(user) / "witnessmark"
    try:
        return Path.home() / ".cache" / "witnessmark"
    except RuntimeError:
        return None


def _ours(path: Path) -> bool:
    """Say whether nobody else can have written it: our own, and closed to others."""
    try:
        return not written_by_others(path)
    except OSError:
        return False
