"""Entering things: readings, looks, tests, work, outcome, quote, approval, photo, note."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import InputRefused, NotFound, WitnessmarkError, http_status
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.model.entries.ledger_data import ClockData
from witnessmark.model.estimate import Estimate
from witnessmark.units import QUANTITIES
from witnessmark.web.bench.from_device import at_of, stored
from witnessmark.web.bench.ledger_entries import CLOSED
from witnessmark.web.bench.state import ServerState, bench_of, by_of, going_on, page
from witnessmark.web.door.posted import Posted, posted
from witnessmark.web.pages.entry_forms import ENGINE, FORMS
from witnessmark.web.pages.ledger_forms import LEDGER_FORMS, LEDGER_PAGES
from witnessmark.workflow.case.photo import store_photo
from witnessmark.workflow.case.shop_settings import instruments_of, own_rates
from witnessmark.workflow.dossier.gauge_round import next_reading, quantities_for, readings_taken
from witnessmark.workflow.papers.case_papers import usual_price_in_shop
from witnessmark.workflow.shop.ledger import PART_HERE, PART_ORDERED
from witnessmark.workflow.shop.on_the_clock import (
    clock_seen,
    local_time,
    press,
    tell_other_cases,
)

router = APIRouter(include_in_schema=False)

#: What can be done to a part in one tap.
DID = ("renewed", "repaired", "cleaned", "adjusted")
#: Kinds with a plain form page, and what the page is called.
_PLAIN = {
    "complaint": "Complaint",
    "truck": "The truck",
    "code": "Trouble code",
    "work": "Work done",
    "outcome": "The customer’s word",
    "quote": "Estimate",
    "approval": "Approval",
    "part": "Part",
    "note": "Note",
    "retract": "Take an entry back",
    **LEDGER_PAGES,
}
_FORMS = FORMS | LEDGER_FORMS


@router.get("/cases/{case_id}/reading")
def reading(request: Request, case_id: str, quantity: str = "", stay: bool = False) -> Response:
    """Show the form for one reading."""
    return _reading_page(request, case_id, Posted({}, {}), None, quantity, advance=not stay)


@router.post("/cases/{case_id}/reading")
async def take_reading(request: Request, case_id: str) -> Response:
    """Store one reading."""
    form = await posted(request)
    try:
        entry_id = await run_in_threadpool(_take, bench_of(request), case_id, form, *_who(request))
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(
            lambda: _reading_page(request, case_id, form, error, form.one("quantity"))
        )
    where = f"/cases/{case_id}"
    if form.one("then") == "next":
        where += f"/reading?quantity={form.one('quantity')}&saved={entry_id}"
    return await stored(request, case_id, where)


@router.post("/cases/{case_id}/answer")
async def answer(request: Request, case_id: str) -> Response:
    """Store what the step that stood first came to: one tap on one of its results."""
    form = await posted(request)
    await run_in_threadpool(_answer_step, bench_of(request), case_id, form, *_who(request))
    return await stored(request, case_id, f"/cases/{case_id}")


@router.get("/cases/{case_id}/add/{kind}")
def add(request: Request, case_id: str, kind: str) -> Response:
    """Show the form for an entry of a plain kind."""
    fields = {name: [text] for name, text in request.query_params.items()}
    return _plain_page(request, case_id, kind, Posted(fields, {}), None)


@router.post("/cases/{case_id}/add/{kind}")
async def store(request: Request, case_id: str, kind: str) -> Response:
    """Store an entry of a plain kind."""
    if kind not in _PLAIN:
        raise NotFound("There is no such form.")
    form = await posted(request)
    bench, (by, at) = bench_of(request), _who(request)
    try:
        data = _FORMS[kind](form.fields)
        entry_id = form.one("entry_id") or None
        if kind == "retract":
            await run_in_threadpool(_still_there, bench, case_id, data["entry"], entry_id)
        entry = await run_in_threadpool(lambda: _enter(bench, case_id, kind, data, form, by, at))
        for cause in form.fields.get("also", []) if kind == "work" else []:
            # Dealt with in the same job: its time, parts and torques stand with the first.
            if cause and cause != data.get("cause"):
                await run_in_threadpool(
                    _also_done, bench, case_id, cause, str(data["did"]), by, entry.id
                )
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(lambda: _plain_page(request, case_id, kind, form, error))
    if kind == "complaint" and not data["families"]:
        return going_on(request, f"/cases/{case_id}/about/{entry.id}")
    places = {"clock": "#clock", "quote": "#paper", "approval": "#paper", "part": "/parts"}
    return await stored(request, case_id, f"/cases/{case_id}{places.get(kind, '')}")


@router.get("/cases/{case_id}/photo")
def photo(request: Request, case_id: str) -> Response:
    """Show the form for a photo."""
    case = bench_of(request).desk.case(case_id)
    about = request.query_params.get("about", "")[:200]
    return page(request, "photo.html", case=case, label=_label(case), error=None, about=about)


@router.post("/cases/{case_id}/photo")
async def store_the_photo(request: Request, case_id: str) -> Response:
    """Store a photo."""
    form = await posted(request, files=1)
    bench, (by, at) = bench_of(request), _who(request)
    files = form.files.get("photo", [])
    if not files:
        raise InputRefused("No photo came with the form.", do="Take or choose one.")
    await run_in_threadpool(
        lambda: store_photo(
            bench.shop,
            case_id,
            files[0].stream,
            files[0].name,
            caption=form.one("caption"),
            by=by,
            entry_id=form.one("entry_id") or None,
            at=at,
        )
    )
    return going_on(request, f"/cases/{case_id}#entries")


def _still_there(bench: ServerState, case_id: str, entry: str, sent: str | None) -> None:
    """Refuse to take back what is not there: that entry is taken back, or nothing."""
    case = bench.desk.case(case_id)
    sent_before = any(e.id == sent for e in case.entries)
    if not sent_before and not any(e.id == entry for e in case.live()):
        raise InputRefused(
            "That entry is not in the case, or is taken back already. Nothing was taken back.",
            where="entry",
            do="Choose the entry in the list.",
        )


def _who(request: Request) -> tuple[str | None, str | None]:
    """Return who makes an entry, and when it was made where it waited on his device."""
    return by_of(request), at_of(request)


def _label(case: Case) -> str:
    truck = case.truck()
    return truck.label if truck else case.id


def _take(bench: ServerState, case_id: str, form: Posted, by: str | None, at: str | None) -> str:
    data = FORMS["reading"](form.fields)
    name = form.one("instrument")
    if name:
        own = {i.id: i.data() for i in instruments_of(bench.shop)}
        for _, taken in bench.desk.case(case_id).of(ReadingData):
            if taken.instrument is not None and taken.instrument.id:
                own.setdefault(taken.instrument.id, taken.instrument.model_dump(exclude_none=True))
        data["instrument"] = own.get(name, {"id": name})
    entry_id = form.one("entry_id") or None
    return bench.shop.add(case_id, "reading", data, by=by, entry_id=entry_id, at=at).id


def _reading_page(
    request: Request,
    case_id: str,
    form: Posted,
    error: WitnessmarkError | None,
    quantity: str,
    *,
    advance: bool = True,
) -> Response:
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    si = bench.si()
    start = next_reading(case, bench.knowledge(case), quantity or None, si=si, advance=advance)
    stage = max(case.stages().values(), default=0)
    saved = request.query_params.get("saved", "")
    entry = next((e for e in case.entries if e.id == saved), None)
    instruments = [i.id for i in instruments_of(bench.shop)]
    last = start.instrument.id if start.instrument and start.instrument.id else ""
    if last and last not in instruments:
        instruments.append(last)
    return page(
        request,
        "reading.html",
        http_status(error) if error else 200,
        case=case,
        label=_label(case),
        start=start,
        usual=quantities_for(case, bench.knowledge(case)),
        all_quantities=sorted(
            (q for q in QUANTITIES.values() if q.kind != "state"), key=lambda q: q.words
        ),
        taken=readings_taken(case, start.quantity, stage),
        saved=entry,
        # A speed is chosen beforehand only where one goes on from point to point.
        told=entry is not None or start.repeats,
        engine_states=[(e, e.replace("_", " ")) for e in ENGINE],
        instruments=instruments,
        last_instrument=form.one("instrument") or last,
        form=form,
        error=error,
    )


def _enter(
    bench: ServerState,
    case_id: str,
    kind: str,
    data: dict[str, Any],
    form: Posted,
    by: str | None,
    at: str | None,
) -> Entry:
    entry_id = form.one("entry_id") or None
    if kind != "clock":
        entry = bench.shop.add(case_id, kind, data, by=by, entry_id=entry_id, at=at)
        tell_other_cases(bench.shop, case_id, [entry])
        return entry
    told = data if data.get("person") or not by else {**data, "person": by}
    when = form.one("when")
    return press(
        bench.shop, case_id, told, by=by, entry_id=entry_id, at=local_time(when) if when else at
    )


def _also_done(
    bench: ServerState, case_id: str, cause: str, did: str, by: str | None, job: str
) -> None:
    data = {"cause": cause, "did": did}
    bench.shop.add(case_id, "work", data, by=by, entry_id=f"{job[:60]}.{cause[:40]}")


def _answer_step(
    bench: ServerState, case_id: str, form: Posted, by: str | None, at: str | None
) -> None:
    """Store a test's result, or that a repair was done as it was proposed."""
    step, result = form.one("step"), form.one("result")
    known = bench.knowledge(bench.desk.case(case_id))
    entry_id = form.one("entry_id") or None
    if known.test(step) is not None and result:
        data: dict[str, Any] = {"test": step, "result": result}
        bench.shop.add(case_id, "test", data, by=by, entry_id=entry_id, at=at)
    elif known.cause(step) is not None and result in DID:
        data = {"cause": step, "did": result}
        bench.shop.add(case_id, "work", data, by=by, entry_id=entry_id, at=at)
    else:
        raise InputRefused("That is no result of this step.", where="result", do="Tap one again.")


def _plain_page(
    request: Request, case_id: str, kind: str, form: Posted, error: WitnessmarkError | None
) -> Response:
    if kind not in _PLAIN:
        raise NotFound("There is no such form.")
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    names = bench.names(case)
    return page(
        request,
        f"add_{kind}.html",
        http_status(error) if error else 200,
        case=case,
        label=_label(case),
        heading=_PLAIN[kind],
        form=_values(form),
        families_given=form.fields.get("families", []),
        error=error,
        families=sorted(bench.knowledge().families.values(), key=lambda f: f.name),
        causes=_causes(bench, case),
        also=form.fields.get("also", []),
        cause_name=names.cause,
        renew=_renew(bench, case, form.one("cause")),
        cause=bench.knowledge(case).cause(form.one("cause")),
        truck=case.truck(),
        complaints=case.complaints(),
        closings=list(CLOSED.items()),
        quotes=list(case.of(QuoteData)),
        rates=own_rates(bench.shop),
        evidence=[e for e in case.live() if e.kind in {"photo", "recording"}],
        usual=_usual(bench, case_id, form.one("cause")) if kind == "quote" else None,
        clock=clock_seen(case, bench.desk.newest(case_id), names.step) if kind == "clock" else None,
        clocks=[(e, d) for e, d in case.of(ClockData) if d.of is None and not d.elsewhere],
        part_ordered=PART_ORDERED,
        part_here=PART_HERE,
    )


def _usual(bench: ServerState, case_id: str, cause: str) -> Estimate | None:
    """Return what this work usually comes to, where the odds are worked out already."""
    looked = bench.desk.look(case_id)
    if not cause or looked.assessment is None:
        return None
    return usual_price_in_shop(bench.shop, looked.assessment, cause)


def _values(form: Posted) -> Callable[..., str]:
    def value(name: str, default: Any = "") -> str:
        found = form.one(name) if name in form.fields else default
        return "" if found is None else str(found)

    return value


def _causes(bench: ServerState, case: Case) -> list[tuple[str, str]]:
    """Return the causes of the case's families, the likeliest first."""
    assessment = bench.desk.newest(case.id)
    ranked: dict[str, str] = {}
    for odds in assessment.odds if assessment else ():
        ranked |= {c.cause: c.name for c in odds.causes}
    for family in (f for f in bench.knowledge(case).families.values() if f.id in case.families()):
        for cause in family.causes:
            ranked.setdefault(cause.id, cause.name)
    return list(ranked.items())


def _renew(bench: ServerState, case: Case, cause: str) -> list[str]:
    found = bench.knowledge(case).cause(cause) if cause else None
    return list(found.renew_with) if found else []
