"""What a complaint is about: what its words suggest, and what the technician says."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import NotFound, WitnessmarkError, http_status
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ComplaintData
from witnessmark.web.bench.state import bench_of, by_of, going_on, page
from witnessmark.web.door.posted import Posted, posted
from witnessmark.web.pages.entry_forms import blank_to_none, decimal
from witnessmark.workflow.shop.own_suspects import name_suspects, save_own_family
from witnessmark.workflow.shop.sounds_like import name_families, sounds_like, suggested_words

__all__ = ["about_page", "router"]

router = APIRouter(include_in_schema=False)


@router.get("/cases/{case_id}/about/{entry}")
def about(request: Request, case_id: str, entry: str) -> Response:
    """Show what a complaint may be about."""
    return about_page(request, case_id, entry, None)


@router.post("/cases/{case_id}/about/{entry}")
async def name(request: Request, case_id: str, entry: str) -> Response:
    """Say what a complaint is about."""
    form = await posted(request)
    bench, by = bench_of(request), by_of(request)
    try:
        await run_in_threadpool(
            lambda: name_families(
                bench.shop,
                case_id,
                entry,
                form.fields.get("families", []),
                by=by,
                entry_id=form.one("entry_id") or None,
            )
        )
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(lambda: about_page(request, case_id, entry, error))
    return going_on(request, f"/cases/{case_id}")


def about_page(
    request: Request, case_id: str, entry: str, error: WitnessmarkError | None
) -> Response:
    """Return the page; the suggestion is a suggestion: nothing is ticked before a person does.

    Raises:
        NotFound: no such complaint in the case.
    """
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    found = _complaint(case, entry)
    guesses = sounds_like(bench.shop, found.words)
    truck = case.truck()
    return page(
        request,
        "about.html",
        http_status(error) if error else 200,
        case=case,
        entry=entry,
        label=truck.label if truck else case.id,
        words=found.words,
        chosen=found.families,
        guesses=guesses,
        said=suggested_words(guesses),
        rest=[
            f
            for f in sorted(bench.knowledge().families.values(), key=lambda f: f.name)
            if f.id not in {g.family for g in guesses}
        ],
        error=error,
    )


#: Rows of the form of own suspects.
SUSPECTS, TESTS = 8, 6
WEIGHTS = ("most likely", "likely", "possible", "long shot")


@router.get("/cases/{case_id}/suspects/{entry}")
def suspects(request: Request, case_id: str, entry: str) -> Response:
    """Show the form for the technician's own suspects."""
    return _suspects_page(request, case_id, entry, None, None)


@router.post("/cases/{case_id}/suspects/{entry}")
async def store_suspects(request: Request, case_id: str, entry: str) -> Response:
    """Write the technician's own suspects down; save them for the shop where he says so."""
    form = await posted(request)
    bench, by = bench_of(request), by_of(request)
    own: dict[str, Any] = {}
    try:
        own = _own(form)
        made = await run_in_threadpool(
            lambda: name_suspects(
                bench.shop, case_id, entry, own, by=by, entry_id=form.one("entry_id") or None
            )
        )
        if form.one("save") == "yes":
            await run_in_threadpool(lambda: save_own_family(bench.shop, case_id, made))
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(
            lambda: _suspects_page(request, case_id, entry, error, own or None)
        )
    return going_on(request, f"/cases/{case_id}")


@router.post("/cases/{case_id}/suspects/{entry}/save")
async def save(request: Request, case_id: str, entry: str) -> Response:
    """Save the suspects of a complaint as a family of the shop's own."""
    await posted(request)
    bench = bench_of(request)
    await run_in_threadpool(lambda: save_own_family(bench.shop, case_id, entry))
    return going_on(request, f"/cases/{case_id}")


def _complaint(case: Case, entry: str) -> ComplaintData:
    found = next((d for e, d in case.complaints() if e.id == entry), None)
    if found is None:
        raise NotFound("There is no such complaint in the case.", where=entry[:80])
    return found


def _own(form: Posted) -> dict[str, Any]:
    """Return what the form says as the data of a list; blank rows are left out."""
    names = {n: form.one(f"suspect_{n}") for n in range(SUSPECTS)}
    told = [
        blank_to_none(
            {
                "name": name,
                "weight": form.one(f"suspect_{n}_weight") or "possible",
                "minutes": decimal(form.fields, f"suspect_{n}_minutes"),
                "usd": decimal(form.fields, f"suspect_{n}_usd"),
            }
        )
        for n, name in names.items()
        if name
    ]
    tests = []
    for n in range(TESTS):
        if form.one(f"test_{n}"):
            shown = [int(k) for k in form.fields.get(f"test_{n}_shows", []) if k.isdigit()]
            test = {
                "name": form.one(f"test_{n}"),
                "shows": [names[k] for k in shown if names.get(k)],
                "minutes": decimal(form.fields, f"test_{n}_minutes"),
                "caution": form.one(f"test_{n}_caution") or None,
            }
            tests.append(blank_to_none(test))
    return {"called": form.one("called"), "suspects": told, "tests": tests}


def _suspects_page(
    request: Request,
    case_id: str,
    entry: str,
    error: WitnessmarkError | None,
    told: dict[str, Any] | None,
) -> Response:
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    found = _complaint(case, entry)
    own = told or (found.own.model_dump(mode="json") if found.own is not None else {})
    truck = case.truck()
    return page(
        request,
        "suspects.html",
        http_status(error) if error else 200,
        case=case,
        entry=entry,
        label=truck.label if truck else case.id,
        words=found.words,
        own=own,
        names=[s["name"] for s in own.get("suspects", [])],
        suspect_rows=range(SUSPECTS),
        test_rows=range(TESTS),
        weight_options=[(w, w) for w in WEIGHTS],
        error=error,
    )
