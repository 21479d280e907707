"""What the interface says of itself: as strict as the server, kind of entry by kind of entry.

The web library describes the shape of a request; what an entry may hold is known to the entry
format, the units and the packs, and is filled in here whenever the description is asked for.
"""

from __future__ import annotations

import copy
import math
from collections import defaultdict
from functools import lru_cache
from typing import Any

from fastapi import FastAPI

from witnessmark.errors import UnitRefused
from witnessmark.model.entries.entry import json_schema
from witnessmark.model.entries.inspection_data import MOST_AXLES, STEERS
from witnessmark.units import QUANTITIES, UNITS, Quantity, from_house, parse
from witnessmark.workflow.case.refuse_unknown import known_looks
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.inspecting.inspect_case import listing_of
from witnessmark.workflow.inspecting.look_fits import RESULTS

__all__ = ["describe"]

_AT = "#/components/schemas/"
#: What no text of an entry holds: control characters, and marks that turn the reading direction.
_PLAIN = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]*$"
_WHOLE = 2**63 - 1
_CASE = "^[A-Za-z0-9][A-Za-z0-9._-]{0,79}$"
_ID = "^[A-Za-z0-9._:-]{0,80}$"
_LOAD = "^(none|full|[0-9]{1,2} %)$"
#: What drives by itself and steers with no axle.
_ROLLS = {
    "properties": {"vehicle": {"enum": [*STEERS]}, "steer_axles": {"const": 0}},
    "required": ["vehicle", "steer_axles"],
}
_HOURS = ("start", "stop", "minutes")


def describe(app: FastAPI, shop: Shop) -> None:
    """Let an application describe its entries to the letter."""
    plain = app.openapi

    def openapi() -> dict[str, Any]:
        found: dict[str, Any] = plain()
        schemas: dict[str, Any] = found["components"]["schemas"]
        schemas |= _entry_schemas(shop)
        look = schemas["NewLook"]["properties"]
        look["point"] = {"enum": sorted(p.id for p in listing_of(shop).file.points)}
        look["result"] |= {"enum": ["", *RESULTS]}
        new_case = schemas["NewCase"]["properties"]
        new_case["id"] |= {"pattern": _CASE}
        new_case["lines"]["items"] = {"type": "string", "pattern": r"^[^\x00]*$"}
        return found

    app.openapi = openapi  # type: ignore[method-assign]


def _entry_schemas(shop: Shop) -> dict[str, Any]:
    found = copy.deepcopy(_of_the_format())
    looks, tests = known_looks(shop.folder)
    found["ClueData"]["properties"]["clue"] = {"enum": sorted(looks)}
    found["TestData"] |= _tests(tests)
    return found


@lru_cache(maxsize=1)
def _of_the_format() -> dict[str, Any]:
    """Return what does not hang on the packs; it takes a moment to make."""
    published = json_schema()
    found = {name: _strict(schema) for name, schema in published["$defs"].items()}
    found["AnythingMore"] = _anything()
    found["ReadingData"] |= _readings()
    found["Point"]["properties"]["load"] = {
        "anyOf": [{"type": "string", "pattern": _LOAD}, {"type": "null"}],
        "description": "none, full, or a percentage",
    }
    found["InspectionData"] |= {
        "anyOf": [_axles(n) for n in range(1, MOST_AXLES + 1)],
        "not": _ROLLS,
    }
    found["LabourData"] |= {"anyOf": [_with(n, {"not": {"type": "null"}}) for n in _HOURS]}
    found["ClockData"] |= {
        "anyOf": [
            _with("does", {"const": "stop"}),
            *(_with(n, {"type": "string", "minLength": 1}) for n in ("job", "of")),
        ]
    }
    found["DeclineData"] |= {
        "anyOf": [
            _with("lines", {"minItems": 1}),
            _with("words", {"type": "string", "minLength": 1}),
        ]
    }
    found["NewEntry"] = {
        "title": "NewEntry",
        "description": "An entry to be added. With an id of its own it may be sent twice.",
        "type": "object",
        "required": ["kind", "data"],
        "additionalProperties": False,
        "properties": {
            "kind": published["properties"]["kind"],
            "id": {"anyOf": [{"type": "string", "pattern": _ID}, {"type": "null"}]},
            "at": {
                "anyOf": [published["properties"]["at"], {"enum": ["", None]}],
                "description": "when it was done; left out or empty: now",
            },
            "data": {"type": "object"},
        },
        "oneOf": [
            {"properties": {**o["properties"], "data": _moved(o["properties"]["data"])}}
            for o in published["oneOf"]
        ],
    }
    return found


def _axles(count: int) -> dict[str, Any]:
    """Describe the head of an inspection of so many axles; two where it says none."""
    nothing: dict[str, Any] = {"type": "null"}
    axle = {"type": "integer", "minimum": 1, "maximum": count}
    return {
        "properties": {
            "axles": {"const": count},
            "steer_axles": {"anyOf": [axle | {"minimum": 0, "maximum": min(4, count)}, nothing]},
            "dual_axles": {
                "anyOf": [{"type": "array", "maxItems": MOST_AXLES, "items": axle}, nothing]
            },
        },
        **({} if count == 2 else {"required": ["axles"]}),
    }


def _with(name: str, said: dict[str, Any]) -> dict[str, Any]:
    return {"required": [name], "properties": {name: said}}


def _strict(schema: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = _moved(schema)
    if found.get("type") == "object" and found.get("additionalProperties") is True:
        found["additionalProperties"] = {"$ref": f"{_AT}AnythingMore"}
        found["propertyNames"] = {"pattern": _PLAIN}
    return found


def _moved(schema: Any) -> Any:
    """Return a schema with its references where they lie here, and its free texts plain."""
    if isinstance(schema, list):
        return [_moved(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    found = {key: _moved(value) for key, value in schema.items()}
    if isinstance(found.get("$ref"), str):
        found["$ref"] = found["$ref"].replace("#/$defs/", _AT)
    if found.get("type") == "string" and not {"pattern", "enum", "const"} & found.keys():
        found["pattern"] = _PLAIN
    elif isinstance(found.get("pattern"), str):  # the only spaces that are no control characters
        found["pattern"] = found["pattern"].replace(r"\s", r"[ \t\n\r]")
    return found


def _anything() -> dict[str, Any]:
    """Describe what may stand in a field that is not known: kept, named, never used."""
    inner = {"$ref": f"{_AT}AnythingMore"}
    return {
        "anyOf": [
            {"type": "string", "pattern": _PLAIN},
            {"type": "number", "minimum": -_WHOLE - 1, "maximum": _WHOLE},
            {"type": "boolean"},
            {"type": "null"},
            {"type": "array", "items": inner},
            {
                "type": "object",
                "additionalProperties": inner,
                "propertyNames": {"pattern": _PLAIN},
            },
        ]
    }


def _readings() -> dict[str, Any]:
    """Describe readings: a quantity, and a figure that it can have, in any of its units.

    Ranges, commas, fractions and other spellings of the units are understood besides.
    """
    alike: dict[str, list[str]] = defaultdict(list)
    for name, quantity in QUANTITIES.items():
        if figures := _figures(quantity):  # some are only calculated and never typed
            alike[figures].append(name)
    return {
        "oneOf": [
            {
                "properties": {
                    "quantity": {"enum": sorted(names)},
                    "value": {"type": "string", "pattern": f"^({figures})$"},
                }
            }
            for figures, names in sorted(alike.items())
        ]
    }


def _figures(quantity: Quantity) -> str:
    """Return a pattern of figures that a quantity can have: so many digits in each unit."""
    found = []
    for symbol in sorted({u.symbol for u in UNITS.values() if u.kind == quantity.kind}):
        if not _is_typed(symbol):
            continue
        ends = (quantity.lowest, quantity.highest)
        low, high = (from_house(quantity.name, end, symbol) for end in ends)
        if low <= 0 and high >= 10:
            digits = min(6, math.floor(math.log10(high)))
            found.append(rf"[0-9]{{1,{digits}}}(\.[0-9]{{1,3}})? {_escaped(symbol)}")
        else:
            found.append(_escaped(f"{(low + high) / 2:.6g} {symbol}"))
    return "|".join(found)


def _is_typed(symbol: str) -> bool:
    try:
        return parse(f"1 {symbol}").unit.symbol == symbol
    except UnitRefused:
        return False


def _tests(tests: dict[str, tuple[str, ...]]) -> dict[str, Any]:
    """Describe tests by what may come of them."""
    alike: dict[tuple[str, ...], list[str]] = defaultdict(list)
    for name, results in tests.items():
        alike[results].append(name)
    return {
        "oneOf": [
            {"properties": {"test": {"enum": sorted(names)}, "result": {"enum": list(results)}}}
            for results, names in sorted(alike.items())
        ]
    }


def _escaped(text: str) -> str:
    return "".join(f"\\{c}" if c in "\\.^$*+?()[]{}|/" else c for c in text)
