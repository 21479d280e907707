"""A case for the papers with a mark in every text field. Not a test itself.

Low and healthy fuel pressures here: common practice, no source.
"""

import json
from functools import cache
from typing import Any

from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import read_case
from witnessmark.workflow.dossier.assess_case import assess

POINT_IDLE = {"rpm": 700, "load": "none", "warm": True}
POINT_1500 = {"rpm": 1500, "load": "none", "warm": True}
GAUGE = {"id": "G1", "span": "160 psi", "accuracy": "1 % of span", "calibrated": "2026-01-12"}


def entry(kind: str, identity: str, at: str = "2026-03-02T08:00:00Z", **data: Any) -> str:
    return json.dumps({"kind": kind, "id": identity, "at": at, "data": data})


def reading(identity: str, value: str, point: dict[str, Any], quantity: str = "") -> str:
    return entry("reading", identity, quantity=quantity or "fuel_gallery_pressure", value=value,
                 point=point, instrument=GAUGE)  # fmt: skip


def before() -> list[str]:
    return [
        entry("truck", "t", label="Testbarley 7 (invented)", customer="Testbarley", miles=640000,
              engine={"cylinders": 6, "fuel_supply": "gallery"}),
        entry("complaint", "c", words="low fuel pressure, lazy up grades", families=["fuel_low"]),
        entry("clue", "k", clue="filters_recent", seen=True),
        reading("r1", "65 psi", POINT_IDLE),
        reading("r2", "78 psi", POINT_1500),
        reading("r3", "1.0 gal/min", POINT_1500, "fuel_return_flow"),
    ]  # fmt: skip


def work(**more: Any) -> str:
    usual = {"cause": "pump_relief", "did": "relief spring renewed", "minutes": 62,
             "parts": [{"name": "relief kit", "usd": 100}]}  # fmt: skip
    return entry("work", "w", at="2026-03-02T12:00:00Z", **(usual | more))


def after() -> list[str]:
    return [
        reading("r4", "75 psi", POINT_IDLE),
        reading("r5", "95 psi", POINT_1500),
        reading("r6", "2.9 gal/min", POINT_1500, "fuel_return_flow"),
        entry("outcome", "o", complaint="c", gone=True, after_days=1, words="pulls again"),
    ]


def assessed(lines: list[str]) -> Dossier:
    return _assessed(tuple(lines))


@cache
def _assessed(lines: tuple[str, ...]) -> Dossier:
    return assess(read_case("paper", lines), {})


#: Text that would do something in HTML, in typst, in XML or in a spreadsheet if it were let.
HOSTILE = (
    "<script>alert(1)</script><img src=x onerror=alert(1)>{{ 7*7 }}{% raw %}\" ' & "
    '#panic("pwned") #read("/etc/hostname") $ x^2 $ *bold* _it_ `raw` @ref <lab> = Head \\ '
    "[link](http://x) //c /*c*/ ]]> \u202e ${jndi} =1+1"
)


def hostile_lines() -> list[str]:
    """Return a case with the hostile text in every field that takes free text."""
    short, long = HOSTILE[:75], HOSTILE
    name = HOSTILE[:190]
    tool = {"id": name, "span": "160 psi", "accuracy": HOSTILE[:58], "calibrated": HOSTILE[:38]}
    return [
        entry("truck", "t", label=name, customer=name, miles=1, engine={"type": short}),
        entry("complaint", "c", words=long, families=["fuel_low"]),
        entry("complaint", "c2", words=long),
        entry("note", "n", words=long, about="recheck"),
        entry("reading", "r1", quantity="fuel_gallery_pressure", value="65 psi",
              point=POINT_IDLE | {"gear": name}, instrument=tool, source=name),
        entry("recording", "rec", path=long),
        entry("photo", "p", path=long, caption=long, stage=HOSTILE[:38]),
        entry("quote", "q", lines=[{"what": name, "minutes": 5, "usd": 5, "cause": "pump_relief"}],
              total_usd=10, expires=HOSTILE[:38]),
        entry("approval", "a", by=name, how=name, words=long, quote="q", limit_usd=5),
        entry("approval", "a2", by=name, how=name, words=long, granted=False),
        entry("work", "w", cause="pump_relief", did=long, parts=[{"name": name, "usd": 1}],
              torques=[{"location": name, "value": HOSTILE[:60], "source": name,
                        "reading": HOSTILE[:60]}, {"location": name, "value": "45 N·m"}]),
        entry("reading", "r2", quantity="fuel_gallery_pressure", value="75 psi",
              point=POINT_IDLE | {"gear": name}, instrument=tool),
        entry("outcome", "o", complaint="c", gone="partly", words=long),
        entry("note", "n9", words="gone"),
        entry("retract", "x", entry="n9", why=long),
    ]  # fmt: skip
