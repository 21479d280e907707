"""The phone and the roadside: six questions, the word, a card to print, and the case to come."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import InputRefused
from witnessmark.web.bench.state import ServerState, bench_of, by_of, going_on, page
from witnessmark.web.bench.stops_told import stops_told
from witnessmark.web.door.posted import Posted, posted
from witnessmark.words.say import phone as say
from witnessmark.workflow.case.shop_on_disk import entry_line
from witnessmark.workflow.shop.ledger import case_name
from witnessmark.workflow.shop.phone import (
    UNKNOWN,
    Asked,
    Told,
    answer_lines,
    questions_of,
    told,
    write_down,
)
from witnessmark.workflow.shop.sounds_like import sounds_like

router = APIRouter(include_in_schema=False)


@router.get("/phone")
def phone(request: Request) -> Response:
    """Begin a call: the driver's words, or what it is about."""
    return _begin(request, Posted({}, {}))


@router.get("/cases/{case_id}/phone")
def of_case(request: Request, case_id: str) -> Response:
    """Ask the questions for a case that is open."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    words = next((d.words for _, d in reversed(case.complaints())), "")
    truck = case.truck()
    told_so_far: dict[str, list[str]] = {
        "case": [case_id],
        "families": list(case.families()),
        "words": [words],
        "label": [truck.label if truck else case_id],
    }
    return _questions(request, Posted(told_so_far, {}))


@router.post("/phone")
async def answer(request: Request) -> Response:
    """Take the words, then the answers, then open the case: each step shows the next."""
    form = await posted(request)
    return await run_in_threadpool(_step, request, form)


def _step(request: Request, form: Posted) -> Response:
    bench = bench_of(request)
    step = form.one("step")
    if step == "words":
        if not form.fields.get("families") and form.one("words"):
            return _begin(request, form)
        return _questions(request, form)
    if step == "questions":
        return _questions(request, form)
    asked = questions_of(bench.knowledge(), form.fields.get("families", []))
    answers = {q.id: form.one(q.id) for q in asked.every if form.one(q.id)}
    found = told(asked, answers)
    if step == "keep":
        return going_on(request, f"/cases/{_kept(request, bench, form, found)}")
    return page(
        request,
        "phone_card.html",
        form=_held(form),
        answers=answers,
        found=found,
        defer=say.defer(),
        later=say.later(),
        unasked=say.unasked(found.unasked) if found.unasked else "",
        **_stops(bench, form.one("case")),
        opens=[bench.names().family(f) for f in found.opens if f not in _held(form)["families"]],
    )


def _stops(bench: ServerState, case_id: str) -> dict[str, Any]:
    if not case_id:
        return {"stops": (), "overridden": (), "waiting": ""}
    return stops_told(bench, bench.desk.case(case_id), 1.5)


def _begin(request: Request, form: Posted) -> Response:
    bench = bench_of(request)
    guesses = sounds_like(bench.shop, form.one("words")) if form.one("words") else ()
    rest = sorted(bench.knowledge().families.values(), key=lambda f: f.name)
    return page(
        request,
        "phone.html",
        form=_held(form),
        guesses=guesses,
        rest=[f for f in rest if f.id not in {g.family for g in guesses}],
    )


def _questions(request: Request, form: Posted) -> Response:
    bench = bench_of(request)
    asked: Asked = questions_of(bench.knowledge(), form.fields.get("families", []))
    return page(
        request,
        "phone_questions.html",
        form=_held(form),
        names=[bench.names().family(f) for f in form.fields.get("families", [])],
        asked=asked,
        unknown=UNKNOWN,
        **_stops(bench, form.one("case")),
    )


def _held(form: Posted) -> dict[str, Any]:
    return {
        "words": form.one("words"),
        "label": form.one("label"),
        "case": form.one("case"),
        "families": form.fields.get("families", []),
    }


def _kept(request: Request, bench: ServerState, form: Posted, found: Told) -> str:
    """Write the call down: in the case it belongs to, or in one that is opened with it."""
    by, base = by_of(request), form.one("entry_id") or bench.fresh_id()
    if form.one("case"):
        write_down(bench.shop, form.one("case"), found, by=by, base=base)
        return form.one("case")
    if not form.one("label"):
        raise InputRefused("The truck has no name.", where="truck", do="Write what you call it.")
    case_id = case_name(form.one("label"), base)
    if bench.shop.casebook.has_case(case_id):
        return case_id
    families = list(dict.fromkeys(form.fields.get("families", [])))
    lines = [
        entry_line("truck", {"label": form.one("label")}, entry_id=f"{base[:70]}t"),
        entry_line(
            "complaint",
            {"words": form.one("words") or "as told on the phone", "families": families},
            entry_id=base,
        ),
        *answer_lines(found, base=base),
    ]
    return bench.shop.new_case(case_id, lines, by=by).id
