"""Going one's own way: what is done instead of the step that stands first, and why."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import InputRefused, WitnessmarkError, http_status
from witnessmark.web.bench.state import ServerState, bench_of, by_of, going_on, page
from witnessmark.web.door.posted import Posted, posted
from witnessmark.workflow.shop.own_ways import choices, record_override

router = APIRouter(include_in_schema=False)


@router.get("/cases/{case_id}/override")
def override(request: Request, case_id: str) -> Response:
    """Show what could be done instead."""
    chosen = {"step": [request.query_params.get("step", "")]}
    return _override_page(request, case_id, Posted(chosen, {}), None)


@router.post("/cases/{case_id}/override")
async def store_override(request: Request, case_id: str) -> Response:
    """Write down what is done instead, and why."""
    form = await posted(request)
    try:
        await run_in_threadpool(_store, bench_of(request), case_id, form, by_of(request) or "")
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        return await run_in_threadpool(lambda: _override_page(request, case_id, form, error))
    return going_on(request, f"/cases/{case_id}#next")


def _store(bench: ServerState, case_id: str, form: Posted, by: str) -> None:
    if not form.one("step"):
        raise InputRefused("Nothing was chosen.", do="Choose what is done instead.")
    record_override(
        bench.shop,
        case_id,
        form.one("step"),
        form.one("why"),
        by=by or None,
        name=form.one("by"),
        assessment=bench.assessment(case_id),
        entry_id=form.one("entry_id") or None,
    )


def _override_page(
    request: Request, case_id: str, form: Posted, error: WitnessmarkError | None
) -> Response:
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    assessment = bench.assessment(case_id)
    truck = case.truck()
    return page(
        request,
        "override.html",
        http_status(error) if error else 200,
        case=case,
        label=truck.label if truck else case.id,
        first=next(iter(assessment.todo or assessment.stops), None),
        stops=assessment.stops,
        by=form.one("by"),
        groups=choices(assessment, bench.knowledge(case)),
        chosen=form.one("step"),
        why=form.one("why"),
        sent=form.one("entry_id"),
        error=error,
    )
