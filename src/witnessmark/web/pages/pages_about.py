"""What a complaint is about: what its words suggest, and what the technician says."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import NotFound, WitnessmarkError, http_status
from witnessmark.web.bench.state import bench_of, going_on, page, viewer_of
from witnessmark.web.door.posted import posted
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
    bench, by = bench_of(request), viewer_of(request).name or None
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
    found = next((d for e, d in case.complaints() if e.id == entry), None)
    if found is None:
        raise NotFound("There is no such complaint in the case.", where=entry[:80])
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
