"""What is published of the pack format, made from its records: JSON Schema and table of fields.

    python -m witnessmark.knowledge.published SCHEMA.json FIELDS.md

writes both anew; tests hold the committed files to them.
"""

from __future__ import annotations

import json
import sys
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from witnessmark.knowledge.parts.pack_parts import SCHEMA, PackFile, json_schema
from witnessmark.knowledge.parts.part_base import PackPart

__all__ = ["fields_page", "parts_of", "schema_text"]

_PAGE = f"""# The fields of a pack

Made from the records of `{SCHEMA}`; do not edit it by hand. How to write a pack is told in
[write_a_pack.md](write_a_pack.md), how to add a family in [add_a_family.md](add_a_family.md).

`id` is lower case letters, digits and underscores; `text` is words; `three` is low, typical, high;
`chance` lies between 0 and 1, never at either end. A key in **bold** must be there. A pack that
overrides a part gives its `id` and what it changes; what a new part needs is told by
`witnessmark pack check`.
"""


def schema_text() -> str:
    """Return the published JSON Schema as the committed file has it."""
    return json.dumps(json_schema(), indent=1) + "\n"


def fields_page() -> str:
    """Return the page of all fields as the committed file has it."""
    parts = list(dict.fromkeys(parts_of(PackFile)))
    return _PAGE + "".join(_section(p) for p in parts)


def parts_of(part: type[PackPart]) -> Iterator[type[PackPart]]:
    """Yield a part and every part inside it, some more than once."""
    yield part
    for field in part.model_fields.values():
        for inner in _inner(field.annotation):
            if inner is not part:
                yield from parts_of(inner)


def _inner(kind: Any) -> Iterator[type[PackPart]]:
    if isinstance(kind, type) and issubclass(kind, PackPart):
        yield kind
    else:
        for argument in get_args(kind):
            yield from _inner(argument)


def _section(part: type[PackPart]) -> str:
    rows = [
        f"| {'**' if f.is_required() else ''}`{f.alias or name}`{'**' if f.is_required() else ''} "
        f"| {_kind(f.annotation, f.metadata)} | {_cell(f.description or '')} |"
        for name, f in part.model_fields.items()
    ]
    doc = " ".join((part.__doc__ or "").split())
    table = "\n".join(rows)
    return f"\n## {_title(part)}\n\n{doc}\n\n| key | form | what it is |\n|---|---|---|\n{table}\n"


def _title(part: type[PackPart]) -> str:
    return part.__name__.removesuffix("Part") or part.__name__


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _kind(kind: Any, metadata: list[Any]) -> str:
    origin, arguments = get_origin(kind), get_args(kind)
    if origin is Annotated:
        more = [m for a in arguments[1:] for m in getattr(a, "metadata", None) or [a]]
        return _kind(arguments[0], [*metadata, *more])
    if isinstance(kind, type) and issubclass(kind, PackPart):
        return f"[{_title(kind)}](#{_title(kind).lower()})"
    if origin in {Union, types.UnionType}:
        kinds = dict.fromkeys(_kind(a, metadata) for a in arguments if a is not type(None))
        return " or ".join(kinds)
    if origin is Literal:
        return ", ".join(f"`{a}`" if a != "" else "empty" for a in arguments)
    if origin is tuple:
        if arguments == (float, float, float):
            return "three"
        inner = [_kind(a, []) for a in arguments if a is not Ellipsis]
        if Ellipsis in arguments:
            return f"list of {inner[0]}"
        return f"[{', '.join(inner)}]"
    if origin is dict:
        return f"{_kind(arguments[0], [])} -> {_kind(arguments[1], [])}"
    return _plain(kind, metadata)


def _plain(kind: Any, metadata: list[Any]) -> str:
    if kind is str:
        return "id" if any(getattr(m, "pattern", None) for m in metadata) else "text"
    if kind is bool:
        return "true or false"
    bounds = {getattr(m, "gt", None) for m in metadata} | {getattr(m, "lt", None) for m in metadata}
    if kind is float and {0, 1} <= bounds:
        return "chance"
    return "number"


if __name__ == "__main__":
    Path(sys.argv[1]).write_text(schema_text(), encoding="utf-8")
    Path(sys.argv[2]).write_text(fields_page(), encoding="utf-8")
