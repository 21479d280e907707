"""Digests of records, made by type: the only module that hashes records.

A digest is the same in every process and on every machine. A record counts with its class and
every field, unless the field is marked :func:`aside`: a new field counts by itself. A kind of
value that is not known here is refused, so that nothing is left out in silence.
"""

from __future__ import annotations

import dataclasses
import hashlib
import math
import struct
import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence, Set
from enum import Enum
from functools import lru_cache
from pathlib import PurePath
from typing import Any

__all__ = ["ASIDE", "digest", "hold", "parts_of", "why_again"]

#: Metadata of a dataclass field that no digest counts: ``field(metadata=ASIDE)``.
ASIDE: Mapping[str, bool] = {"witnessmark.aside": True}
#: Large records that stay the same object are hashed once: by their identity, held while it is.
_HELD: OrderedDict[int, tuple[object, bytes]] = OrderedDict()
_KEEP = 16
#: The same of records whose digest was told; what is only remembered never pushes them out.
_TOLD: OrderedDict[int, tuple[object, bytes]] = OrderedDict()
_KEEP_TOLD = 32
_LOCK = threading.Lock()


def digest(value: object) -> str:
    """Return the digest of a value: 64 hexadecimal digits.

    Args:
        value: plain values, enums, tuples, lists, sets, mappings, and records of these.

    Raises:
        TypeError: a kind of value that has no digest here.
    """
    return _of(value).hex()


def hold(record: object, told: str) -> None:
    """Hold the digest of a record that was worked out before, as long as the record is in use.

    Args:
        record: a frozen record.
        told: what :func:`digest` said of an equal one.
    """
    made = bytes.fromhex(told)
    with _LOCK:
        _TOLD[id(record)] = (record, made)
        _TOLD.move_to_end(id(record))
        while len(_TOLD) > _KEEP_TOLD:
            _TOLD.popitem(last=False)


def parts_of(record: Any) -> dict[str, str]:
    """Return field -> digest of a record, for the fields that count."""
    return {f.name: digest(getattr(record, f.name)) for f in _fields(record)}


def why_again(old: Mapping[str, str], new: Mapping[str, str]) -> tuple[str, ...]:
    """Return the names of the parts whose digests differ: why something was computed again."""
    names = dict.fromkeys((*old, *new))
    return tuple(name for name in names if old.get(name) != new.get(name))


def _of(value: object) -> bytes:
    quick = _QUICK.get(type(value))
    if quick is not None:
        return quick(value)
    plain = _plain(value)
    if plain is not None:
        return plain
    if isinstance(value, Mapping):
        pairs = sorted(_of(k) + _of(v) for k, v in value.items())
        return _joined("mapping", pairs)
    if isinstance(value, tuple | list):
        return _row(value)
    if isinstance(value, Set):
        return _joined("set", sorted(_of(v) for v in value))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return _record(value)
    # Only entries and parts of packs are such models; asking by the method loads no library.
    dump = getattr(value, "model_dump", None)
    if callable(dump):
        return _joined(type(value).__name__, [_of(dump(mode="python"))])
    raise TypeError(f"{type(value).__name__} has no digest")


def _plain(value: object) -> bytes | None:
    """Return the digest of what has no parts, ``None`` for everything else."""
    if value is None:
        return _hash(b"none")
    if isinstance(value, Enum):
        return _joined(type(value).__name__, [_of(value.value)])
    if isinstance(value, bool):
        return _hash(b"yes" if value else b"no")
    if isinstance(value, int):
        return _hash(b"int" + str(int(value)).encode())
    if isinstance(value, float):
        # Every "not a number" is one, and minus zero is zero.
        number = math.nan if math.isnan(value) else value + 0.0
        return _hash(b"float" + struct.pack(">d", number))
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, bytes):
        return _hash(b"bytes" + value)
    if isinstance(value, PurePath):
        return _hash(b"path" + str(value).encode("utf-8", "surrogatepass"))
    return None


def _joined(name: str, parts: list[bytes]) -> bytes:
    return _hash(b"".join((name.encode(), b"(", str(len(parts)).encode(), b")", *parts)))


def _hash(content: bytes) -> bytes:
    return hashlib.sha256(content).digest()


@lru_cache(maxsize=1 << 15)
def _text(value: str) -> bytes:
    return _hash(b"str" + value.encode("utf-8", "surrogatepass"))


@lru_cache(maxsize=1 << 12)
def _number(value: float) -> bytes:
    return _plain(value) or b""


def _row(value: Sequence[object]) -> bytes:
    return _joined("row", [_of(v) for v in value])


#: What most values are, by their exact type; the same text and number stand in many records.
_QUICK: Mapping[type, Callable[[Any], bytes]] = {
    str: _text,
    float: _number,
    tuple: _row,
    list: _row,
    bool: {True: _hash(b"yes"), False: _hash(b"no")}.__getitem__,
    type(None): {None: _hash(b"none")}.__getitem__,
}


def _record(value: Any) -> bytes:
    with _LOCK:
        for kept in (_TOLD, _HELD):
            held = kept.get(id(value))
            if held is not None and held[0] is value:
                kept.move_to_end(id(value))
                return held[1]
    kind: Any = type(value)
    parts: list[bytes] = []
    mapped = False
    for name, called in _names(kind):
        part = getattr(value, name)
        mapped = mapped or isinstance(part, Mapping)
        parts += (called, _of(part))
    made = _joined(kind.__name__, parts)
    if mapped and kind.__dataclass_params__.frozen:
        with _LOCK:
            _HELD[id(value)] = (value, made)
            while len(_HELD) > _KEEP:
                _HELD.popitem(last=False)
    return made


@lru_cache(maxsize=1024)
def _names(kind: Any) -> tuple[tuple[str, bytes], ...]:
    """Return (name, its digest) of the fields of a class that count."""
    return tuple((f.name, _text(f.name)) for f in _fields(kind))


def _fields(record: Any) -> list[dataclasses.Field[Any]]:
    return [f for f in dataclasses.fields(record) if not f.metadata.get("witnessmark.aside")]
