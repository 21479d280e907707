"""What every entry's data record is made of: its base and the texts that it may hold."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, StringConstraints

__all__ = ["WHOLE", "Id", "Label", "Name", "Record", "Words", "slug", "truths_and_numbers"]

Id = Annotated[str, StringConstraints(min_length=1, max_length=80, pattern=r"^[A-Za-z0-9._:-]+$")]
Words = Annotated[str, StringConstraints(max_length=4000)]
Name = Annotated[str, StringConstraints(min_length=1, max_length=200)]


def _as_text(value: object) -> object:
    """Gears and the like are names; JSON writers often send them as numbers."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _as_whole(value: object) -> object:
    """JSON knows one kind of number: 94.0 is as whole as 94."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


#: Stands last in the annotation of a number that is counted.
WHOLE = BeforeValidator(_as_whole)
Label = Annotated[str, BeforeValidator(_as_text), StringConstraints(min_length=1, max_length=200)]


class Record(BaseModel):
    """Base of the data records: frozen, strict about what it knows, tolerant of more."""

    model_config = ConfigDict(frozen=True, extra="allow", allow_inf_nan=False)

    def unknown_fields(self) -> list[str]:
        """Return the paths of the fields that are not part of the format."""
        found = [str(name) for name in (self.model_extra or {})]
        for name in type(self).model_fields:
            value = getattr(self, name)
            for key, item in enumerate(value) if isinstance(value, tuple) else [("", value)]:
                if isinstance(item, Record):
                    prefix = f"{name}[{key}]" if key != "" else name
                    found += [f"{prefix}.{inner}" for inner in item.unknown_fields()]
        return found


def truths_and_numbers(raw: object, read: object, path: str) -> list[str]:
    """Return what was taken for another: ``true`` for a number, or a number for ``true``.

    Args:
        raw: what the JSON says.
        read: what was made of it.
        path: where that is.
    """
    if isinstance(raw, int | float) and isinstance(read, int | float):
        if isinstance(raw, bool) is isinstance(read, bool):
            return []
        return [f"{path}: {'a number' if isinstance(raw, bool) else 'true or false'} is needed"]
    found: list[str] = []
    if isinstance(raw, dict):
        for name, value in raw.items():
            inner = read.get(name) if isinstance(read, dict) else getattr(read, name, None)
            found += truths_and_numbers(value, inner, f"{path}.{name}")
    elif isinstance(raw, list) and isinstance(read, tuple) and len(raw) == len(read):
        for place, value in enumerate(raw):
            found += truths_and_numbers(value, read[place], f"{path}[{place}]")
    return found


def slug(name: str) -> str:
    """Return a name as an id: lower case letters, digits, underscores, at most 40 characters."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    words = "_".join(re.findall(r"[a-z0-9]+", plain))[:40].strip("_")
    return words or f"x{hashlib.sha256(name.encode()).hexdigest()[:8]}"
