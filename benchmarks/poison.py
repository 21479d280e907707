"""Three thousand mutated cases through the whole assessment and every page.

Run from the project's folder::

    PYTHONPATH=src:tests python benchmarks/poison.py [COUNT] [SEED]

Entries of every kind are bent (extremes, wrong types, strange texts and times, fields left out or
doubled) and stored past the door, as an earlier version or a stranger's file might hold them. Held
against: no assessment breaks (an entry that would break it is left out and named), every page
answers with less than 500 and without the plain page for emergencies, an inspection is always
shown, and what went in comes out to the letter. The table is written into benchmarks/poison.md.
"""

from __future__ import annotations

import copy
import json
import logging
import random
import re
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from web.bench_page import Client
from witnessmark.errors import InputRefused, WitnessmarkError
from witnessmark.model.dossier import Dossier
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.around_poison import hiding
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

HERE = Path(__file__).resolve().parent
AT = "2026-03-02T08:00:00Z"
POINT = {"rpm": 1500, "load": "none", "warm": True}
GAUGE = {"id": "g1", "span": "160 psi", "accuracy": "1 % of span", "repeatability": "1 psi"}
ENTRIES: tuple[tuple[str, dict[str, Any]], ...] = (
    (
        "truck",
        {
            "label": "unit 7",
            "customer": "Testbarley Hauling",
            "miles": 640000,
            "engine": {"cylinders": 6, "displacement_l": 15, "fuel_supply": "gallery"},
            "gears": {"10": 1.0, "9": 1.35},
        },
    ),
    ("complaint", {"words": "oil pressure low at idle", "families": ["oil_press"]}),
    ("complaint", {"words": "jumps and comes back", "families": ["sensor_or_real"]}),
    ("reading", {"quantity": "oil_pressure", "value": "9 psi", "point": POINT}),
    ("reading", {"quantity": "coolant_temp", "value": "203 °F", "point": POINT}),
    (
        "reading",
        {
            "quantity": "oil_pressure",
            "value": "31 psi",
            "point": {"rpm": 700, "load": "none"},
            "instrument": GAUGE,
        },
    ),
    ("clue", {"clue": "filters_recent", "seen": True}),
    ("test", {"test": "oil_gauge_check", "result": "positive"}),
    ("work", {"did": "new pump", "cause": "pump_worn", "minutes": 90, "torques": []}),
    ("outcome", {"complaint": "c1", "gone": "partly", "after_days": 12}),
    (
        "quote",
        {
            "lines": [
                {"what": "pump", "usd": 900, "kind": "part", "cause": "pump_worn", "minutes": 90},
                {"what": "hours", "minutes": 90, "kind": "labour"},
            ],
            "total_usd": 900,
            "limit_usd": 1000,
        },
    ),
    (
        "approval",
        {
            "by": "Ann Invented",
            "how": "phone",
            "limit_usd": 950,
            "lines": [{"line": 1, "granted": True}, {"line": 2, "granted": False, "risk": "soon"}],
        },
    ),
    ("photo", {"path": "a.jpg", "sha256": "a" * 64, "caption": "seen from below"}),
    ("recording", {"path": "pull.log", "sha256": "b" * 64}),
    ("note", {"words": "smells of fuel"}),
    ("retract", {"entry": "e3", "why": "typed wrongly"}),
    ("code", {"spn": 100, "fmi": 1, "count": 3, "source": 0, "active": True}),
    ("part", {"name": "pump", "state": "promised", "on": "2026-03-04", "usd": 410, "quantity": 1}),
    (
        "visit",
        {"odometer_in": "880120 km", "odometer_out": 547000, "promised": "2026-03-05"},
    ),
    ("labour", {"start": "07:30", "stop": "09:10", "job": "the pump"}),
    ("labour", {"minutes": 40}),
    ("inspect", {"point": "tread", "result": "fail", "value": "9/32 in"}),
    ("decline", {"lines": ["l1"], "risk": "soon", "words": "wants to wait"}),
    ("close", {"complaint": "c1", "how": "repaired_not_proven", "why": "left the yard"}),
    ("clock", {"does": "start", "person": "Ann Invented", "job": "diagnosis"}),
    ("clock", {"does": "stop", "person": "Ann Invented"}),
    (
        "inspection",
        {
            "vehicle": "tractor",
            "axles": 3,
            "steer_axles": 1,
            "dual_axles": [2, 3],
            "inspector": "Ann Invented",
            "carrier": "Testbarley Hauling",
            "built": "2019-04-01",
        },
    ),
    ("inspect", {"point": "tread", "value": "5/32 in", "place": "a1l", "error": "1/32 in"}),
    ("certificate", {"inspector": "Ann Invented", "accurate": True}),
)
#: A case of an inspection: what is read and signed there shows only after its head.
INSPECTED: tuple[tuple[str, dict[str, Any]], ...] = (
    (
        "inspect",
        {
            "point": "stroke",
            "value": "1 3/4 in",
            "place": "a2l",
            "gauge": "rule",
            "given": {"chamber": "c30", "tanks": "90 psi"},
        },
    ),
    ("inspect", {"point": "lining", "value": "5/32 in", "place": "a1r", "error": "1/32 in"}),
    ("inspect", {"point": "tread", "value": "3/32 in", "place": "a2lo", "note": "worn inside"}),
    ("inspect", {"point": "lining_sound", "result": "fail", "fault": "loose"}),
    ("inspect", {"point": "brake_parts", "result": "not_looked"}),
    ("work", {"did": "adjusted", "points": ["stroke", "lining"], "minutes": 20}),
    ("certificate", {"inspector": "Ann Invented", "brake_inspector": "Bo", "accurate": True}),
)
FUEL = ("complaint", {"words": "low fuel pressure", "families": ["fuel_low"]})
NUMBERS = (0, -1, 1e308, -1e308, 5e-324, 1e-9, 2**53, 2**63, 10**30, 0.1, 3.0, -0.0, 1e9)
TEXTS = (
    "",
    " ",
    "\u202e backwards",
    "\u0000",
    "\ud800",
    "<script>alert(1)</script>",
    "{{ 7*7 }}",
    '#import "x"; $ unclosed',
    "a" * 5000,
    "é" * 300,
    "\u0300" * 200,
    "=cmd()",
    "\n\n\n",
    "../../x",
    "1e400 psi",
    "-0 psi",
    "99999999999999 psi",
    "NaN psi",
    "0.0000001 psi",
    "-500 °F",
    "nan",
    "None",
    "\U0001f69b",
    "%s%n{0}",
)
DAYS = ("0001-01-01", "9999-12-31", "2026-02-30", "2026-3-4", "tomorrow", "2026-03-04T99", "")
TIMES = (
    "0001-01-01T00:00:00Z",
    "9999-12-31T23:59:59Z",
    "2026-03-02T08:00:00",
    "2026-03-02 08:00",
    "2026-03-02T08:00:00+14:00",
    "0001-01-01T00:00:00+14:00",
    "9999-12-31T23:59:59-12:00",
    "2026-03-02T08:00:00.123456789Z",
)
PAGES = (
    "",
    "/reading",
    "/reading?quantity=oil_pressure",
    "/looked",
    "/tests",
    "/torque-card",
    "/road-test",
    "/hand-over",
    "/export.jsonl",
    "/readings.csv",
    "/version",
    "/report",
    "/report?quote=true",
    "/parts",
    "/job-cards",
    "/invoice.csv",
    "/phone",
    "/shift",
    "/override",
    "/warranty.zip",
    "/from/step/0",
    "/from/finding/0",
    "/from/entry/e1",
    "/about/e1",
    "/inspection",
    "/inspection/sign",
    "/inspection/paper",
    "/drive",
)
#: Forms, which show next to nothing of the case; asked for in every tenth.
FORMS = (
    "/add/note",
    "/add/work",
    "/add/outcome",
    "/add/quote",
    "/add/approval",
    "/add/retract",
    "/add/truck",
    "/add/complaint",
    "/photo",
    "/recording",
    "/qr.svg",
    "/say",
    "/add/code",
    "/add/part",
    "/add/visit",
    "/add/labour",
    "/add/inspect",
    "/add/decline",
    "/add/close",
    "/report.pdf",
    "/inspection/begin",
    "/inspection/read/stroke",
    "/inspection/repaired/tread",
    "/inspection/paper.pdf",
    "/suspects/e1",
)
SHOP_PAGES = (
    "/",
    "/api/cases",
    "/trucks",
    "/trucks/unit%207",
    "/after",
    "/learnt",
    "/phone",
    "/due",
    "/clock",
)


def bend(value: Any, draw: random.Random) -> Any:
    """Return something else in a value's place, most often of the same kind."""
    if draw.random() < 0.7:
        if isinstance(value, int | float) and not isinstance(value, bool):
            return draw.choice((*NUMBERS, -value, value * 1e6, value * 1e-6, value * 1.0000001))
        if isinstance(value, str) and value[:4].isdigit() and value[4:5] == "-":
            return draw.choice(DAYS)
        if isinstance(value, str) and value[:1].isdigit() and " " in value:
            return f"{draw.choice(NUMBERS)} {value.split(' ', 1)[1]}"
    kind = draw.randrange(8)
    if kind == 0:
        return draw.choice(NUMBERS)
    if kind == 1:
        return draw.choice(TEXTS)
    if kind == 2:
        return draw.choice((None, True, False, [], {}, [[]], [None], {"": ""}))
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value * draw.choice((-1, 0, 1e-6, 1e6, 1e300, 1.0000001))
    if isinstance(value, str) and value:
        return draw.choice((value * 50, value[::-1], value + draw.choice(TEXTS), value[:-1]))
    if isinstance(value, list):
        return value * draw.choice((0, 2, 300))
    return draw.choice(TEXTS)


def places(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the path of every value within *value*."""
    found = [path] if path else []
    if isinstance(value, dict):
        for key, inner in value.items():
            found += places(inner, (*path, key))
    elif isinstance(value, list):
        for key, inner in enumerate(value):
            found += places(inner, (*path, key))
    return found


def mutant(draw: random.Random) -> list[str]:
    """Return the lines of one mutated case."""
    pool = [*ENTRIES, FUEL] if draw.random() < 0.05 else list(ENTRIES)
    chosen = [copy.deepcopy(draw.choice(pool)) for _ in range(draw.randint(3, 14))]
    if draw.random() < 0.2:
        rest = [draw.choice(INSPECTED) for _ in range(draw.randint(2, 8))]
        chosen += copy.deepcopy([next(e for e in ENTRIES if e[0] == "inspection"), *rest])
    lines = []
    for number, (kind, data) in enumerate(chosen):
        entry = {"kind": kind, "id": f"e{number}", "at": AT, "data": data}
        for _ in range(draw.choice((0, 0, 0, 1, 1))):
            path = draw.choice(places(entry))
            inner: Any = entry
            for key in path[:-1]:
                inner = inner[key]
            if draw.random() < 0.15 and isinstance(inner, dict):
                del inner[path[-1]]
            elif path == ("at",):
                inner["at"] = draw.choice(TIMES)
            else:
                inner[path[-1]] = bend(inner[path[-1]], draw)
            if not places(entry):
                break
        text = json.dumps(entry, ensure_ascii=draw.random() < 0.7)
        if draw.random() < 0.02:
            text = text[: draw.randint(1, len(text))]
        lines.append(text)
    return [line for line in lines if "\x00" not in line and not _half(line)]


def _half(line: str) -> bool:
    return any("\ud800" <= c <= "\udfff" for c in line)


@dataclass
class Found:
    """What a part of the cases came to."""

    cases: int = 0
    entries: int = 0
    damaged: int = 0
    asked: int = 0
    poisoned: int = 0
    faults: Counter[str] = field(default_factory=Counter)


def some(count: int, seed: int) -> Found:
    """Try *count* cases."""
    logging.disable(logging.CRITICAL)
    found, begun = Found(), time.monotonic()
    draw = random.Random(seed)  # noqa: S311 - drawn mutations, no secret
    known: dict[str, Dossier] = {}
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder) / "shop", create=True)

        def assess(name: str) -> Dossier:
            if name not in known:
                raise InputRefused("No odds of the earlier cases are needed here.")
            return known[name]

        client = Client(create_app(shop, assess=assess))
        for number in range(count):
            _one(shop, client, known, found, draw, number)
            found.cases += 1
            if number % 50 == 49 or number == count - 1:
                took = time.monotonic() - begun
                print(seed, number + 1, f"{took:.0f} s", dict(found.faults), flush=True)
                page = table(found, seed, earlier_rows())
                (HERE / "poison.md").write_text(page, encoding="utf-8")
        client.close()
        shop.close()
    return found


def _one(
    shop: Shop,
    client: Client,
    known: dict[str, Dossier],
    found: Found,
    draw: random.Random,
    number: int,
) -> None:
    name, lines = f"m{number}", mutant(draw)
    try:
        shop.new_case(name, lines)
    except WitnessmarkError:
        return  # two entries of one id: the whole case is refused at the door, with a sentence
    stored = shop.casebook.lines(name)
    # A line that comes twice to the letter is the same save sent again, and is stored once.
    if [*dict.fromkeys(stored)] != [*dict.fromkeys(lines)]:
        found.faults["a line came out changed"] += 1
    found.entries += len(lines)
    found.damaged += len(shop.case(name).damaged)
    known.clear()
    try:
        known[name] = assess_in_shop(shop, name)
    except WitnessmarkError as error:
        found.faults[f"assessment refused: {error.what}"] += 1
        return
    except Exception as error:
        found.poisoned += 1
        found.faults[f"assessment: {_where(error)}"] += 1
        print(name, lines, file=sys.stderr)
        known[name] = assess_in_shop(hiding(shop, _all(shop, name)), name)
    for page in PAGES if number % 10 else (*PAGES, *FORMS):
        if page.startswith("/report?") and number % 3:
            continue
        found.asked += 1
        answer = client.get(f"/cases/{name}{page}")
        refused = page.startswith("/inspection") and answer.status_code == 422
        plain = "cannot be shown as it should be" in answer.text
        if answer.status_code >= 500 or plain or refused:
            found.faults[f"page {page or '/'}: {answer.status_code}"] += 1
            print(name, page, lines, file=sys.stderr)
    for page in SHOP_PAGES if number % 25 == 24 else ():
        found.asked += 1
        if client.get(page).status_code >= 500:
            found.faults[f"page {page}"] += 1


def table(found: Found, seed: int, earlier: list[str]) -> str:
    """Return the page of all runs: this one's row beside those of other seeds."""
    faults = ", ".join(f"{what} ({often})" for what, often in found.faults.most_common())
    row = (
        f"| {seed} | {found.cases} | {found.entries} | {found.damaged} | {found.asked} | "
        f"{found.poisoned} | {faults or 'nothing'} |"
    )
    rows = [*(r for r in earlier if not r.startswith(f"| {seed} |")), row]
    cells = [r.strip("| ").split(" | ") for r in rows]
    cases, entries, damaged, asked, left_out = (sum(int(c[n]) for c in cells) for n in range(1, 6))
    text = [
        "# Mutated cases",
        "",
        f"`PYTHONPATH=src:tests python benchmarks/poison.py COUNT SEED` made this, a row a run: "
        f"{cases} mutated cases with {entries} entries, {damaged} of them so bent that they are "
        f"shown as damaged; all assessed in full, {asked} pages asked for ({len(PAGES)} of every "
        f"case, {len(FORMS)} more of every tenth, {len(SHOP_PAGES)} of the shop after every 25). "
        f"An entry that breaks the assessment is left out and named; that happened in {left_out} "
        "cases.",
        "",
        "| seed | cases | entries | shown as damaged | pages | left out | what went wrong |",
        "|---:|---:|---:|---:|---:|---:|---|",
        *rows,
        "",
        "Earlier runs, with other seeds, found five ways in which an entry broke pages, some of "
        "them those of other cases too: a time without an offset (the cases of the same truck), a "
        "job of 5e-324 minutes (the odds of every case of the shop), a time at the ends of the "
        "calendar (the list of cases, the clock, the inspection), an answer beside a reading that "
        "is no figure and a tractor without a steering axle (the inspection). All are mended and "
        "held by `tests/workflow/test_poison.py`.",
    ]
    return "\n".join(text) + "\n"


def earlier_rows() -> list[str]:
    """Return the rows that earlier runs wrote."""
    page = HERE / "poison.md"
    lines = page.read_text(encoding="utf-8").splitlines() if page.exists() else []
    return [line for line in lines if re.match(r"\| \d+ \| \d+ \|", line)]


def main() -> int:
    """Write the table and return the number of failures."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    found = some(count, seed)
    print(table(found, seed, []))
    return sum(found.faults.values())


def _all(shop: Shop, name: str) -> frozenset[str]:
    return frozenset(e.id for e in shop.case(name).entries)


def _where(error: Exception) -> str:
    last = traceback.extract_tb(error.__traceback__)[-1]
    place = Path(last.filename).name
    return f"{type(error).__name__} in {place}, {last.name}"


if __name__ == "__main__":
    sys.exit(main())
