"""The walk round: what was looked at and tested, on one page in the order of the truck."""

from __future__ import annotations

import hashlib
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ClueData, TestData
from witnessmark.web.bench.from_device import at_of, stored
from witnessmark.web.bench.state import ServerState, bench_of, by_of, page
from witnessmark.web.door.posted import Posted, posted
from witnessmark.web.pages.entry_forms import seen
from witnessmark.workflow.case.packs_of_shop import clues_of
from witnessmark.workflow.case.shop_on_disk import entry_line
from witnessmark.workflow.shop.walk_round import walk_round

router = APIRouter(include_in_schema=False)

_NO_LINE_MOST = 64


@router.get("/cases/{case_id}/looked")
@router.get("/cases/{case_id}/tests")
def walk(request: Request, case_id: str, q: str = "", test: str = "") -> Response:
    """Show every look and test of the case once, in the order of the truck."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    newest = bench.desk.newest(case_id)
    truck = case.truck()
    wanted = q[:80].lower().split()
    clues = [r for r in _clues(bench, case) if all(w in r["clue"].words.lower() for w in wanted)]
    return page(
        request,
        "round.html",
        case=case,
        label=truck.label if truck else case.id,
        rounds=walk_round(case, bench.knowledge(case), newest.steps if newest else (), q[:80]),
        clues=clues,
        search=q[:80],
        asked=test,
        family_name=bench.names(case).family,
    )


@router.post("/cases/{case_id}/looked")
@router.post("/cases/{case_id}/tests")
async def store_round(request: Request, case_id: str) -> Response:
    """Store what was looked at and tested, and what it came to."""
    form = await posted(request)
    who = by_of(request), at_of(request)
    await run_in_threadpool(_store, bench_of(request), case_id, form, *who)
    return await stored(request, case_id, f"/cases/{case_id}")


def _clues(bench: ServerState, case: Case) -> list[dict[str, Any]]:
    known = {(d.clue, d.cause or ""): _answer(d.seen) for _, d in case.of(ClueData)}
    rows: list[dict[str, Any]] = []
    for condition, causes in clues_of(bench.knowledge(case), case.families()):
        if condition.part_scoped:
            given = next((c.id for c in causes if (condition.id, c.id) in known), "")
            chosen = known.get((condition.id, given), "")
        else:
            given, chosen = "", known.get((condition.id, ""), "")
        parts = causes if condition.part_scoped else []
        rows.append({"clue": condition, "causes": parts, "cause": given, "chosen": chosen})
    return rows


def _store(bench: ServerState, case_id: str, form: Posted, by: str | None, at: str | None) -> None:
    """Store what the page says, all of it or nothing; what was stored before is left out."""
    case = bench.desk.case(case_id)
    held = {entry.id for entry in case.entries}
    rows = [
        (k, d, _part_id(form, what)) for k, d, what in (*_looks(case, form), *_tests(case, form))
    ]
    fresh = [
        entry_line(kind, data, entry_id=i, at=at, by=by) for kind, data, i in rows if i not in held
    ]
    if fresh:
        bench.shop.enter(case_id, fresh, by=by)


def _looks(case: Case, form: Posted) -> list[tuple[str, dict[str, Any], str]]:
    known = {(d.clue, d.cause or ""): _answer(d.seen) for _, d in case.of(ClueData)}
    found = []
    for name in sorted(form.fields):
        if not name.startswith("clue.") or not form.one(name):
            continue
        clue, cause = name.removeprefix("clue."), form.one("cause." + name.removeprefix("clue."))
        if known.get((clue, cause)) == form.one(name):
            continue
        data: dict[str, Any] = {"clue": clue, "seen": seen(form.one(name))}
        if cause:
            data["cause"] = cause
        found.append(("clue", data, f"{clue}/{cause}/{form.one(name)}"))
    return found


def _tests(case: Case, form: Posted) -> list[tuple[str, dict[str, Any], str]]:
    """Return the tests of a form: ``test.ID = result``, the result as ``ID of its test/result``.

    What is in the case already is not stored again, unless a value or a note came with it.
    """
    known = {d.test: d.result for _, d in case.of(TestData)}
    found = []
    for name in sorted(form.fields):
        if not name.startswith("test.") or not form.one(name):
            continue
        shown = name.removeprefix("test.")
        of, slash, result = form.one(name).partition("/")
        test, result = (of, result) if slash else (shown, of)
        value, note = form.one(f"value.{shown}")[:_NO_LINE_MOST], form.one(f"note.{shown}")
        if known.get(test) == result and not value and not note:
            continue
        data: dict[str, Any] = {"test": test, "result": result}
        data |= {k: v for k, v in (("value", value), ("note", note)) if v}
        found.append(
            ("test", data, f"{test}/{result}" + (f"/{value}/{note}" if len(data) > 2 else ""))
        )
    return found


def _answer(found: bool | str) -> str:
    return "maybe" if found == "maybe" else ("yes" if found else "no")


def _part_id(form: Posted, what: str) -> str | None:
    """One form makes several entries; each gets an id that a second sending makes again."""
    base = form.one("entry_id")
    return f"{base[:60]}.{hashlib.sha256(what.encode()).hexdigest()[:8]}" if base else None
