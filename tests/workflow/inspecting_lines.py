"""A vehicle that is inspected, for tests: begun, walked, brought to where it may be signed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from witnessmark.analyses.inspecting.places import places_of
from witnessmark.model.entries.inspection_data import InspectionData
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.inspecting.inspect_case import begin, listing_of
from witnessmark.workflow.inspecting.look_at_point import Look, look

#: Reading point -> a value that passes by far, and what the limit hangs on.
GOOD: dict[str, tuple[str, dict[str, str]]] = {
    "stroke": ("1 1/2 in", {"chamber": "c30", "tanks": "85 psi"}),
    "lining": ("1/2 in", {"kind": "drum_strip"}),
    "low_air_warning": ("68 psi", {"built_to": "new_rule"}),
    "pivot": ("1/8 in", {}),
    "slider": ("1/8 in", {}),
    "halves": ("1/16 in", {}),
    "free_play": ("2 in", {"assist": "power", "wheel": "w18"}),
    "tread": ("12/32 in", {}),
}
HEAD: dict[str, Any] = {
    "vehicle": "tractor", "axles": 3, "built": "2015-05-01", "inspector": "A. Inspector",
    "qualified": "one_year", "evidence": "shop file 3", "brake_inspector": "B. Brakes",
    "brake_qualified": "programme", "brake_evidence": "shop file 3", "carrier": "Invented Haulage",
}  # fmt: skip


def shop_with(folder: Path, vehicle: str = "tractor", **head: Any) -> Shop:
    """Return a shop with the case ``unit`` of a vehicle whose inspection is begun."""
    shop = open_shop(folder / "shop", create=True)
    told = {"label": f"{vehicle} 7", "vin": "INVENTED7"}
    told |= {} if vehicle in {"truck", "tractor"} else {"vehicle": vehicle}
    shop.new_case("unit", [entry_line("truck", told)])
    begin(shop, "unit", {**HEAD, "vehicle": vehicle, **head})
    return shop


def good_looks(shop: Shop, head: InspectionData, *without: str) -> list[Look]:
    """Return a passing look at every point and place that the inspection asks for."""
    looks = []
    for point in listing_of(shop).points_for(head.vehicle, head.brake_kind):
        if point.optional or point.id in without:
            continue
        if point.reading is None:
            looks.append(Look(point.id, "pass"))
            continue
        value, given = GOOD[point.id]
        gauge = point.reading.instruments[0].id
        looks += [
            Look(point.id, place=place, value=value, gauge=gauge, given=given)
            for place in places_of(point.reading.places, head)
        ]
    return looks


def walk(shop: Shop, vehicle: str = "tractor", *without: str, **head: Any) -> None:
    """Look at every point but these, and find all of it good."""
    told = InspectionData.model_validate({**HEAD, "vehicle": vehicle, **head})
    look(shop, "unit", good_looks(shop, told, *without))
