"""The ledger and the case."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterable
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse

from witnessmark.errors import InputRefused, WitnessmarkError, http_status
from witnessmark.web.bench.desk import Looked
from witnessmark.web.bench.state import (
    WARM,
    ServerState,
    bench_of,
    by_of,
    going_on,
    page,
    render,
    viewer_of,
)
from witnessmark.web.bench.strip import strip
from witnessmark.web.door.doors import COOKIE
from witnessmark.web.door.posted import Posted, posted
from witnessmark.web.pages.entry_forms import complaint, truck
from witnessmark.workflow.case.locks import read_session
from witnessmark.workflow.case.shop_on_disk import entry_line
from witnessmark.workflow.case.shop_settings import own_rates
from witnessmark.workflow.dossier.gauge_round import quantities_for
from witnessmark.workflow.keeping.reminder import backup_reminder
from witnessmark.workflow.shop.ledger import Row, case_name, row_of
from witnessmark.workflow.shop.ledger_pages import every_row, ledger_page
from witnessmark.workflow.shop.on_the_clock import (
    clock_seen,
    names_of_jobs,
    on_the_clock,
    span_words,
)
from witnessmark.workflow.shop.trucks import comebacks

_LOG = logging.getLogger("witnessmark.web")
router = APIRouter(include_in_schema=False)

#: How long a page waits for the odds before it is shown without them [s].
PATIENCE_S = 1.5
_NEW_FIELDS = (
    "entry_id",
    "case",
    "words",
    "label",
    "customer",
    "miles",
    "engine_type",
    "displacement_l",
    "cylinders",
    "fuel_supply",
    "vehicle",
    "vin",
    "plate",
)


@router.get("/")
def ledger(request: Request) -> Response:
    """List the open cases and what each of them waits for."""
    bench = bench_of(request)
    search = request.query_params.get("q", "")[:80]
    open_cases = ledger_page(bench.shop, is_open=True, search=search, number=_number(request, "p"))
    closed = ledger_page(bench.shop, is_open=False, search=search, number=_number(request, "c"))
    return page(
        request,
        "ledger.html",
        open=[_with_odds(bench, row, warm=True) for row in open_cases.rows],
        open_page=open_cases,
        closed=closed.rows,
        closed_page=closed,
        search=search,
        version=ledger_version(bench),
        clocks=_clocks(bench, open_cases.rows),
        backup=backup_reminder(bench.shop),
    )


def _clocks(bench: ServerState, rows: Iterable[Row]) -> dict[str, list[str]]:
    """Return case -> what runs or is asked about there, in words."""
    found = {}
    for row in rows:
        if row.clocked:
            case = bench.desk.case(row.case)
            seen = clock_seen(case, None, bench.names(case).step)
            found[row.case] = [words for _, words in (*seen.running, *seen.asked)]
    return found


@router.get("/clock")
def clock(request: Request) -> Response:
    """Show what runs and what is asked about: one's own first, then the others'."""
    bench, me = bench_of(request), by_of(request) or ""
    rows = []
    for case_id, whose, span in on_the_clock(bench.shop):
        case = bench.desk.case(case_id)
        name = names_of_jobs(case, bench.names(case).step)
        rows.append((case_id, whose, span, span_words(span, name)))
    rows.sort(key=lambda row: (row[2].person != me, row[2].start))
    return page(request, "clock.html", rows=rows, me=me)


def _number(request: Request, name: str) -> int:
    text = request.query_params.get(name, "")
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 6 else 1


@router.get("/ledger-version")
def ledger_watch(request: Request) -> Response:
    """Return what changes when any case changes."""
    return JSONResponse({"version": ledger_version(bench_of(request)), "working": False})


@router.get("/events")
async def ledger_events(request: Request) -> Response:
    """Say whenever any case changes."""
    bench = bench_of(request)
    return events(request, lambda: {"version": ledger_version(bench), "working": False})


@router.get("/cases/{case_id}/events")
async def case_events(request: Request, case_id: str) -> Response:
    """Say whenever a case changes or gets its odds."""
    bench = bench_of(request)
    await run_in_threadpool(bench.desk.version, case_id)

    def look() -> dict[str, Any]:
        looked = bench.desk.look(case_id)
        return {"version": looked.version, "working": looked.working}

    return events(request, look)


def events(request: Request, look: Callable[[], dict[str, Any]]) -> Response:
    """Answer with an event whenever what *look* says changes."""
    bench = bench_of(request)
    token = request.cookies.get(COOKIE, "")[:200]
    who = viewer_of(request).name or (request.client.host if request.client else "")
    bench.watchers.must_have_room(who)

    def may() -> bool:
        return not bench.access.lan or read_session(bench.shop, token) is not None

    return StreamingResponse(
        bench.watchers.events(who, look, may),
        media_type="text/event-stream",
        headers={"cache-control": "no-store", "x-accel-buffering": "no"},
    )


@router.get("/new")
def new(request: Request) -> Response:
    """Show the form for a new complaint."""
    return _new_page(request, None, Posted({}, {}))


@router.post("/new")
async def open_case(request: Request) -> Response:
    """Open a case with the driver's words."""
    form = await posted(request)
    try:
        case_id = await run_in_threadpool(_open, bench_of(request), form, by_of(request) or "")
    except WitnessmarkError as error:
        if "x-witnessmark" in request.headers:
            raise
        return _new_page(request, error, form)
    if not form.fields.get("families"):
        return going_on(request, f"/cases/{case_id}/about/{_first_complaint(request, case_id)}")
    return going_on(request, f"/cases/{case_id}")


def _first_complaint(request: Request, case_id: str) -> str:
    return bench_of(request).desk.case(case_id).complaints()[0][0].id


@router.get("/cases/{case_id}")
async def case(request: Request, case_id: str) -> Response:
    """Show a case as one strip."""
    bench, chosen = bench_of(request), request.query_params.get("c", "")[:80]
    number = _number(request, "e")
    if bench.local:
        # A finished page costs one look at the casebook: not worth a thread of its own.
        looked = bench.desk.look(case_id)
        held = (
            bench.sheets.get(case_id, _key(request, case_id, looked, (chosen, number)))
            if looked.current
            else None
        )
        if held is not None:
            return held.answer(request)
    return await run_in_threadpool(_case_page, request, case_id, chosen, number)


def _case_page(request: Request, case_id: str, chosen: str, number: int) -> Response:
    bench = bench_of(request)
    looked = bench.desk.look(case_id, wait_s=PATIENCE_S)
    try:
        values = strip_values(bench, case_id, looked, chosen, number)
        text = render(request, "case.html", **values)
    except WitnessmarkError:
        raise
    except Exception:
        # A case can always be opened, whatever stands in it: its entries as they are stored.
        _LOG.exception("the page of %s", case_id)
        case = bench.desk.case(case_id)
        return page(request, "case_plain.html", case=case, trouble=looked.trouble)
    if not looked.current:
        return HTMLResponse(text)
    if values["clock"].running:
        bench.ticking[case_id] = looked.version
    else:
        bench.ticking.pop(case_id, None)
    return bench.sheets.put(case_id, _key(request, case_id, looked, (chosen, number)), text).answer(
        request
    )


def _key(request: Request, case_id: str, looked: Looked, chosen: tuple[str, int]) -> object:
    theme = request.cookies.get("wm_theme", "")
    bench = bench_of(request)
    ticks = bench.ticking.get(case_id) == looked.version
    minute = int(time.time() // 60) if ticks else 0
    return looked.version, chosen, theme, viewer_of(request), by_of(request), bench.si(), minute


@router.get("/cases/{case_id}/shift")
def shift(request: Request, case_id: str) -> Response:
    """Show what the next person must know: the state now, what comes next, what not to do."""
    bench = bench_of(request)
    looked = bench.desk.look(case_id, wait_s=PATIENCE_S)
    return page(request, "shift.html", **strip_values(bench, case_id, looked))


@router.get("/cases/{case_id}/version")
def version(request: Request, case_id: str) -> Response:
    """Return the version of a case, for pages that watch it."""
    looked = bench_of(request).desk.look(case_id)
    return JSONResponse({"version": looked.version, "working": looked.working})


@router.post("/cases/{case_id}/stop")
def stop(request: Request, case_id: str) -> Response:
    """Stop the work on the odds."""
    bench_of(request).desk.stop(case_id)
    return going_on(request, f"/cases/{case_id}")


@router.post("/cases/{case_id}/resume")
def resume(request: Request, case_id: str) -> Response:
    """Work out the odds after all."""
    bench_of(request).desk.resume(case_id)
    return going_on(request, f"/cases/{case_id}")


def strip_values(
    bench: ServerState, case_id: str, looked: Looked, chosen: str = "", number: int = 1
) -> dict[str, Any]:
    """Return the values of the case page, with that complaint first and that page of entries."""
    log = {i: (at, by or "") for i, at, by in bench.shop.casebook.log(case_id) if i}
    case = bench.desk.case(case_id)
    return strip(
        case,
        looked,
        bench.names(case),
        log=log,
        attached=bench.shop.casebook.attachments(case_id),
        usual=quantities_for(case, bench.knowledge(case)),
        si=bench.si(),
        rates=own_rates(bench.shop),
        chosen=chosen,
        number=number,
    ) | {"comebacks": comebacks(bench.shop, case, bench.desk.case)}


def ledger_rows(bench: ServerState) -> list[Row]:
    """Return the whole ledger, what was touched last first."""
    return [
        _with_odds(bench, row, warm=place < WARM) for place, row in enumerate(every_row(bench.shop))
    ]


def _with_odds(bench: ServerState, row: Row, *, warm: bool) -> Row:
    """Let a row say the next step where the odds of its case are known."""
    # What was touched last is worked out anew in the background where anything has changed.
    looked = bench.desk.look(row.case, warm=True) if warm and row.is_open else None
    found = looked.assessment if looked else bench.desk.newest(row.case)
    return row if found is None else row_of(bench.desk.case(row.case), found)


def ledger_version(bench: ServerState) -> str:
    """Return a short text that changes when any case changes or gets its odds."""
    return f"{bench.shop.casebook.rows.newest_change()}.{bench.desk.finished}"


def _open(bench: ServerState, form: Posted, by: str) -> str:
    if not form.one("label"):
        raise InputRefused("The truck has no name.", where="truck", do="Write what you call it.")
    entry_id = form.one("entry_id") or bench.fresh_id()
    lines = [
        entry_line("truck", truck(form.fields), entry_id=f"{entry_id}t"),
        entry_line("complaint", complaint(form.fields), entry_id=entry_id),
    ]
    # The case is named after the entry that opens it, so that sending twice opens it once.
    case_id = case_name(form.one("label"), entry_id)
    if bench.shop.casebook.has_case(case_id):
        return case_id
    return bench.shop.new_case(case_id, lines, by=by or None).id


def _new_page(request: Request, error: WitnessmarkError | None, form: Posted) -> Response:
    families = sorted(bench_of(request).knowledge().families.values(), key=lambda f: f.name)
    held: dict[str, Any] = {name: form.one(name) for name in _NEW_FIELDS}
    held["families"] = form.fields.get("families", [])
    status = http_status(error) if error else 200
    return page(request, "new.html", status, error=error, form=held, families=families)
