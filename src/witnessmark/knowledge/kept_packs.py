"""What the packs say, kept between runs by the content of every pack and of this room.

Reading, checking and merging the packs takes longer than everything else of a short answer. Kept
is the outcome as plain text; a kept text that does not fit is as if it were not there.
"""

from __future__ import annotations

import hashlib
import json
import types
from collections.abc import Callable, Mapping, Sequence
from dataclasses import fields, is_dataclass
from functools import cache, lru_cache
from pathlib import Path
from typing import Any, Literal, Union, cast, get_args, get_origin, get_type_hints

from witnessmark.kept import keep_text, kept_text
from witnessmark.knowledge.records import Knowledge
from witnessmark.knowledge.shipped import shipped_packs
from witnessmark.model.digest import digest, hold

__all__ = ["load_knowledge"]

_ROOM = Path(__file__).parent
_AS_IT_IS = frozenset({str, float, int, bool, type(None)})
_Decode = Callable[[Any], Any]


def load_knowledge(shop_packs: Sequence[Path] = ()) -> Knowledge:
    """Return everything the packs say; later packs override and add by id.

    After an override the shares of a family's causes are scaled to sum to 1 again.

    Args:
        shop_packs: the shop's own pack files, in order.

    Raises:
        PackRefused: a pack has faults; *what* lists all of them with their path.
    """
    # By content: a pack that was edited is read again whatever the clock of the disk says.
    return _load(tuple((p, _content(p)) for p in shop_packs))


@lru_cache(maxsize=8)
def _load(shop_packs: tuple[tuple[Path, str], ...]) -> Knowledge:
    key = f"packs {_room()} {[content for _, content in shop_packs]}"
    held = _decoded(kept_text(key)) if all(content for _, content in shop_packs) else None
    if held is not None:
        return held
    from witnessmark.knowledge.loader import parse_packs  # noqa: PLC0415  (heavy: the schema)

    made = parse_packs([*shipped_packs(), *(p for p, _ in shop_packs)])
    keep_text(key, json.dumps([digest(made), _encoded(made)], separators=(",", ":")))
    return made


def _content(path: Path) -> str:
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""  # the reading of it says what is the matter


@lru_cache(maxsize=1)
def _room() -> str:
    """Return a digest of the shipped packs and of all that reads and merges them."""
    found = hashlib.sha256()
    for path in sorted((*_ROOM.rglob("*.py"), *_ROOM.rglob("*.toml"))):
        found.update(path.relative_to(_ROOM).as_posix().encode() + path.read_bytes())
    return found.hexdigest()


def _decoded(text: str | None) -> Knowledge | None:
    if text is None:
        return None
    try:
        told, rows = json.loads(text)
        made = cast("Knowledge", _decoder(Knowledge)(rows))
    except (ValueError, TypeError, KeyError, IndexError):
        return None
    hold(made, told)
    return made


@cache
def _field_names(kind: type) -> tuple[str, ...] | None:
    """Return the fields of a record, ``None`` for what is none."""
    return tuple(f.name for f in fields(kind)) if is_dataclass(kind) else None


def _encoded(value: object) -> object:
    """Return records as rows of their fields, mappings as rows of pairs."""
    kind: Any = type(value)
    if kind in _AS_IT_IS:
        return value
    names = _field_names(kind)
    if names is not None:
        return [_encoded(getattr(value, name)) for name in names]
    if isinstance(value, Mapping):
        return [[_encoded(k), _encoded(v)] for k, v in value.items()]
    if isinstance(value, tuple | list):
        return [_encoded(v) for v in value]
    if value is None or isinstance(value, bool | int | float | str):
        return value
    raise TypeError(f"{type(value).__name__} cannot be kept")


@cache
def _decoder(kind: Any) -> _Decode:
    """Return what makes a value of a type again from its rows."""
    origin, inner = get_origin(kind), get_args(kind)
    if is_dataclass(kind):
        return _record_decoder(kind)
    if origin is tuple:
        return _row_decoder(inner)
    if origin is not None and isinstance(origin, type) and issubclass(origin, Mapping):
        key, value = (_decoder(i) for i in inner)
        return lambda rows: {key(k): value(v) for k, v in rows}
    if origin in {Union, types.UnionType}:
        inside = [_decoder(i) for i in inner if i is not type(None)]
        rich = [d for d in inside if d is not _plain]
        if not rich:
            return _plain
        one = rich[0]  # a union of a record and plain values, the record being a row
        return lambda value: one(value) if isinstance(value, list) else value
    if origin is Literal or kind in {str, bool, int, float, object}:
        return _plain
    raise TypeError(f"{kind} cannot be kept")


def _record_decoder(kind: Any) -> _Decode:
    count = len(fields(kind))

    def decode(row: list[Any]) -> Any:
        if len(row) != count:
            raise ValueError("a record of another make")
        for number, make in _rich_fields(kind):
            row[number] = make(row[number])
        return kind(*row)

    return decode


@cache
def _rich_fields(kind: Any) -> tuple[tuple[int, _Decode], ...]:
    """Return the fields that are not plain; asked at the first record, for records hold records."""
    hints = get_type_hints(kind)
    each = [_decoder(hints[f.name]) for f in fields(kind)]
    return tuple((number, decode) for number, decode in enumerate(each) if decode is not _plain)


def _row_decoder(inner: tuple[Any, ...]) -> _Decode:
    if len(inner) == 2 and inner[1] is Ellipsis:
        every = _decoder(inner[0])
        return tuple if every is _plain else lambda rows: tuple(map(every, rows))
    each = [_decoder(i) for i in inner]
    if all(d is _plain for d in each):
        return tuple
    return lambda row: tuple(d(v) for d, v in zip(each, row, strict=True))


def _plain(value: Any) -> Any:
    return value
