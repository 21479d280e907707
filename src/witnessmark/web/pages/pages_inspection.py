"""The periodic inspection on the phone: the walk, a reading with big keys, work, signature."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, Response

from witnessmark.errors import Conflict, InputRefused, NotFound, WitnessmarkError, http_status
from witnessmark.model.entries.case import Case
from witnessmark.model.inspection import InspectionSheet, PointState
from witnessmark.web.bench.from_device import at_of, stored
from witnessmark.web.bench.state import ServerState, bench_of, by_of, page
from witnessmark.web.door.posted import Posted, posted
from witnessmark.web.pages.inspection_forms import (
    head_fields,
    looks_of,
    reading_look,
    shown_before,
    start_of,
    units_of,
)
from witnessmark.web.pages.pages_paper import PAPER_CSP, attached, settled_dossier
from witnessmark.words.say import inspection as say
from witnessmark.workflow.inspecting.inspect_case import (
    begin,
    head_of,
    listing_of,
    point_of,
    repaired,
    sheet_of,
    sign,
)
from witnessmark.workflow.inspecting.look_at_point import look
from witnessmark.workflow.papers.inspection_papers import inspection_html, inspection_pdf

router = APIRouter(include_in_schema=False)

_PLACE = "/cases/{case_id}/inspection"


@router.get(_PLACE)
def walk(request: Request, case_id: str, saved: str = "") -> Response:
    """Show the walk: every point and how it stands; the head first where none was written."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    sheet = sheet_now(bench, case)
    if not sheet.begun:
        return _head_page(request, case_id, Posted({}, {}), None)
    return page(
        request, "inspection.html", case=case, label=_label(case), sheet=sheet,
        before=shown_before, saved=sheet.point(saved), whole=say.whole(),
        error=None,
    )  # fmt: skip


@router.post(_PLACE)
async def store_looks(request: Request, case_id: str) -> Response:
    """Store what was looked at on the walk."""
    form = await posted(request)
    bench, who = bench_of(request), _who(request)

    def work() -> None:
        case = bench.desk.case(case_id)
        looks = looks_of(form.fields, sheet_of(bench.shop, case))
        base = form.one("entry_id")
        if not looks and base and any(e.id.startswith(f"{base[:40]}.") for e in case.entries):
            return  # sent twice
        if len(looks) == 1:
            base = f"{base[:40]}.{looks[0].point[:24]}" if base else base
        look(bench.shop, case_id, looks, by=who[0], at=who[1], entry_id=base or None)

    await run_in_threadpool(work)
    return await stored(request, case_id, f"/cases/{case_id}/inspection")


@router.get(_PLACE + "/begin")
def head(request: Request, case_id: str) -> Response:
    """Show the form of the head: which vehicle, and who inspects."""
    return _head_page(request, case_id, Posted({}, {}), None)


@router.post(_PLACE + "/begin")
async def store_head(request: Request, case_id: str) -> Response:
    """Store the head."""
    form = await posted(request)
    bench, (by, at) = bench_of(request), _who(request)
    try:
        await run_in_threadpool(
            lambda: begin(
                bench.shop, case_id, head_fields(form.fields),
                by=by, entry_id=form.one("entry_id") or None, at=at,
            )
        )  # fmt: skip
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(_head_page, request, case_id, form, error)
    return await stored(request, case_id, f"/cases/{case_id}/inspection")


@router.get(_PLACE + "/read/{point}")
def read(request: Request, case_id: str, point: str, place: str = "", saved: str = "") -> Response:
    """Show one point to be read with an instrument, place by place."""
    return _read_page(request, case_id, point, Posted({"place": [place]}, {}), None, saved)


@router.post(_PLACE + "/read/{point}")
async def store_reading(request: Request, case_id: str, point: str) -> Response:
    """Store one reading, and go on to the next place."""
    form = await posted(request)
    bench, (by, at) = bench_of(request), _who(request)
    try:
        reading = point_of(bench.shop, point).reading
        one = reading_look(point, form.fields, reading.asks if reading else ())
        await run_in_threadpool(
            lambda: look(
                bench.shop, case_id, [one], by=by, at=at, entry_id=form.one("entry_id") or None
            )
        )
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(_read_page, request, case_id, point, form, error, "")
    where = f"/cases/{case_id}/inspection"
    if form.one("then") == "next":
        where += f"/read/{point}?saved={form.one('place') or 'once'}"
    else:
        where += f"?saved={point}#{point}"
    return await stored(request, case_id, where)


@router.get(_PLACE + "/repaired/{point}")
def work_form(request: Request, case_id: str, point: str) -> Response:
    """Show the form for the work on a point."""
    return _repaired_page(request, case_id, point, Posted({}, {}), None)


@router.post(_PLACE + "/repaired/{point}")
async def store_work(request: Request, case_id: str, point: str) -> Response:
    """Store the work on a point."""
    form = await posted(request)
    bench, (by, at) = bench_of(request), _who(request)
    minutes = form.one("minutes")
    try:
        if minutes and not minutes.replace(".", "", 1).isdecimal():
            raise InputRefused(f"'{minutes[:20]}' is not a number of minutes.", where="minutes")
        await run_in_threadpool(
            lambda: repaired(
                bench.shop, case_id, point, form.one("did"), cause=form.one("cause") or None,
                minutes=float(minutes) if minutes else None, by=by,
                entry_id=form.one("entry_id") or None, at=at,
            )
        )  # fmt: skip
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(_repaired_page, request, case_id, point, form, error)
    return await stored(request, case_id, f"/cases/{case_id}/inspection#{point}")


@router.get(_PLACE + "/sign")
def sign_form(request: Request, case_id: str) -> Response:
    """Show what keeps the certificate back, or the form to sign it."""
    return _sign_page(request, case_id, Posted({}, {}), None)


@router.post(_PLACE + "/sign")
async def store_signature(request: Request, case_id: str) -> Response:
    """Sign the certificate."""
    form = await posted(request)
    bench, (by, at) = bench_of(request), _who(request)

    def work() -> None:
        found = settled_dossier(bench, case_id)
        if found is None:
            raise Conflict("What stops the vehicle is still worked out.", do="Sign in a moment.")
        data = {
            "inspector": form.one("inspector"),
            "brake_inspector": form.one("brake_inspector") or None,
            "accurate": form.one("accurate") == "yes",
        }
        data = {k: v for k, v in data.items() if v is not None}
        sheet = sheet_of(bench.shop, found.case, found.stops)
        sign(bench.shop, case_id, data, sheet, by=by, entry_id=form.one("entry_id") or None, at=at)

    try:
        await run_in_threadpool(work)
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(_sign_page, request, case_id, form, error)
    return await stored(request, case_id, f"/cases/{case_id}/inspection")


@router.get(_PLACE + "/paper")
def paper(request: Request, case_id: str, customer: bool = False) -> Response:
    """Show the report of the inspection, or the customer's copy in plain words."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    text = inspection_html(bench.shop, case, sheet_now(bench, case, 20.0), customer=customer)
    return HTMLResponse(text, headers={"content-security-policy": PAPER_CSP})


@router.get(_PLACE + "/paper.pdf")
def paper_as_pdf(request: Request, case_id: str, customer: bool = False) -> Response:
    """Return the report of the inspection, or the customer's copy, as PDF."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    content = inspection_pdf(bench.shop, case, sheet_now(bench, case, 20.0), customer=customer)
    headers = attached(f"{case_id}-inspection.pdf", inline=True)
    return Response(content, media_type="application/pdf", headers=headers)


def sheet_now(bench: ServerState, case: Case, wait_s: float = 1.5) -> InspectionSheet:
    """Return the inspection with the stops as far as they are worked out."""
    found = bench.desk.look(case.id, wait_s=wait_s).assessment if case.complaints() else None
    return sheet_of(bench.shop, case, found.stops if found is not None else ())


def _head_page(
    request: Request, case_id: str, form: Posted, error: WitnessmarkError | None
) -> Response:
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    listing = listing_of(bench.shop).file
    return page(
        request, "inspection_head.html", http_status(error) if error else 200, case=case,
        label=_label(case), error=error, held=head_of(case), form=form,
        qualified=listing.qualified, brake_qualified=listing.brake_qualified,
        truck=case.truck(),
    )  # fmt: skip


def _read_page(
    request: Request, case_id: str, point: str, form: Posted, error: WitnessmarkError | None,
    saved: str,
) -> Response:  # fmt: skip
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    known = point_of(bench.shop, point)
    state = _state(bench, case, point)
    if known.reading is None or state is None:
        raise NotFound("There is nothing to read at this point.", do="Go back to the walk.")
    last = next((p for p in state.places if p.place == saved or (saved == "once" and not p.place)),
                None)  # fmt: skip
    return page(
        request, "inspection_read.html", http_status(error) if error else 200, case=case,
        label=_label(case), error=error, point=state, reading=known.reading,
        start=start_of(case, state, form.fields), units=units_of(known.reading),
        state_words=say.state, saved=last if saved and last and last.entry else None,
        section=state.section, defer=say.defer(),
    )  # fmt: skip


def _repaired_page(
    request: Request, case_id: str, point: str, form: Posted, error: WitnessmarkError | None
) -> Response:
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    state = _state(bench, case, point)
    if state is None:
        raise NotFound("The inspection has no such point.", do="Go back to the walk.")
    family = bench.knowledge().families.get(point_of(bench.shop, point).opens or "")
    return page(
        request, "inspection_repaired.html", http_status(error) if error else 200, case=case,
        label=_label(case), error=error, point=state, form=form,
        causes=[(c.id, c.name) for c in family.causes] if family else [],
    )  # fmt: skip


def _sign_page(
    request: Request, case_id: str, form: Posted, error: WitnessmarkError | None
) -> Response:
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    return page(
        request, "inspection_sign.html", http_status(error) if error else 200, case=case,
        label=_label(case), error=error, sheet=sheet_now(bench, case, 20.0), held=head_of(case),
        form=form, certify=say.certify(), unseen=say.not_looked_at,
    )  # fmt: skip


def _state(bench: ServerState, case: Case, point: str) -> PointState | None:
    return sheet_of(bench.shop, case).point(point)


def _who(request: Request) -> tuple[str | None, str | None]:
    return by_of(request), at_of(request)


def _label(case: Case) -> str:
    truck = case.truck()
    return truck.label if truck else case.id
