"""Two invented trucks whose cases are still open: one waits for a reading, one for a word."""

from __future__ import annotations

from witnessmark.demo.stories.fuel_stories import GAUGE
from witnessmark.demo.stories.story import Story, Writer

__all__ = ["fictive_feed", "madeupton"]

_OIL_GAUGE = {**GAUGE, "id": "G2"}


def fictive_feed() -> Story:
    """Low fuel pressure with new filters, two readings taken, nothing decided."""
    w = Writer("2026-03-16T07:40:00")
    w.add(
        "truck",
        label="Fictive Feed tanker 22",
        customer="Fictive Feed Mill (invented)",
        engine={"cylinders": 6, "displacement_l": 15, "fuel_supply": "gallery"},
        miles=365000,
    )
    w.add(
        "complaint",
        words="Loses heart on the long hill, worse with the blower running.",
        families=["fuel_low"],
    )
    w.add(
        "approval",
        by="F. Fictive (invented)",
        how="phone",
        limit_usd=280,
        words="Find out first. The filters are new and have not helped.",
    )
    w.add("clue", clue="filters_recent", seen=True)
    w.read("fuel_gallery_pressure", {690: "64 psi", 1570: "79 psi"}, instrument=GAUGE)
    return Story(
        case_id="feed-22",
        title="Fictive Feed tanker 22: loses heart on the long hill, filters new",
        tempting="the return regulator, because it is quick to renew",
        truth=("pump_relief", "return_regulator"),
        lines=tuple(w.lines),
        files=w.files,
    )


def madeupton() -> Story:
    """Low oil pressure at hot idle, the relief valve renewed; the customer has not called yet."""
    w = Writer("2026-03-12T09:10:00")
    w.add(
        "truck",
        label="Madeupton Quarry tipper 4",
        customer="Madeupton Quarry (invented)",
        engine={"cylinders": 6, "displacement_l": 13},
        miles=330000,
        hours=9100,
    )
    w.add("complaint", words="Oil light flickers at the traffic lights.", families=["oil_press"])
    w.add("approval", by="M. Madeupton (invented)", how="in person", limit_usd=600)
    w.read("oil_pressure", {660: "8 psi", 1540: "34 psi"}, instrument=_OIL_GAUGE)
    w.add("test", test="g_mech", result="negative")
    w.add("test", test="g_level", result="negative")
    w.add("test", test="g_relief", result="positive")
    w.add(
        "work",
        after=90,
        cause="op_relief",
        did="Oil pressure relief valve and spring renewed; seat clean.",
        minutes=80,
        parts=[{"name": "relief valve with spring", "usd": 95}, {"name": "plug seal", "usd": 6}],
    )
    w.read("oil_pressure", {660: "23 psi", 1540: "50 psi"}, instrument=_OIL_GAUGE)
    return Story(
        case_id="madeupton-4",
        title="Madeupton Quarry tipper 4: oil light at idle",
        tempting="bearings, because of the hours",
        truth=("op_relief",),
        lines=tuple(w.lines),
        files=w.files,
    )
