"""Pages for bay and counter: parts of a case, its job cards, the calls that are due, warranty."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import Conflict
from witnessmark.model.entries.case import Case
from witnessmark.web.bench.state import bench_of, page
from witnessmark.web.pages.pages_paper import attached, settled_dossier
from witnessmark.words.say import due as say
from witnessmark.workflow.dossier.learnt_for_case import learnt
from witnessmark.workflow.papers.bay_cards import job_sheet
from witnessmark.workflow.shop.day_after import calls_of_shop, warranty_claim
from witnessmark.workflow.shop.due_list import due_of_shop
from witnessmark.workflow.shop.parts_list import ASK, open_cores, parts_of_case

router = APIRouter(include_in_schema=False)


@router.get("/cases/{case_id}/parts")
def parts(request: Request, case_id: str) -> Response:
    """Show the parts and seals of a case and where each stands."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    rows = parts_of_case(case, bench.knowledge(case), learnt(bench.shop, case)[0].jobs)
    return page(request, "parts.html", case=case, label=_label(case), rows=rows, ask=ASK,
                cause_name=bench.names(case).cause)  # fmt: skip


@router.get("/cases/{case_id}/job-cards")
def cards(request: Request, case_id: str) -> Response:
    """Show how the jobs of a case go."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    looked = bench.desk.look(case_id)
    steps = looked.assessment.steps if looked.assessment else ()
    sheet = job_sheet(case, steps)
    return page(request, "job_cards.html", case=case, label=_label(case), sheet=sheet,
                cause_name=bench.names(case).cause)  # fmt: skip


@router.get("/after")
def after(request: Request) -> Response:
    """Show whom to ask after 1, 7 and 30 days, and the cores that are still out."""
    shop = bench_of(request).shop
    cases = [shop.case(summary.id) for summary in shop.list_cases()[:400]]
    return page(request, "after.html", calls=calls_of_shop(shop), cores=open_cores(cases))


@router.get("/due")
def due(request: Request) -> Response:
    """Show what is due in the shop, by day, miles and hours."""
    return page(request, "due.html", found=due_of_shop(bench_of(request).shop), when=say.when)


@router.get("/cases/{case_id}/warranty.zip")
async def warranty(request: Request, case_id: str) -> Response:
    """Return what a warranty claim needs: failure, hours, parts, readings, photos."""
    bench = bench_of(request)
    found = await run_in_threadpool(lambda: settled_dossier(bench, case_id))
    if found is None:
        raise Conflict("The odds are still being worked out.", do="Try again in a moment.")
    content = await run_in_threadpool(lambda: warranty_claim(bench.shop, found))
    headers = attached(f"{case_id}-warranty.zip")
    return Response(content, media_type="application/zip", headers=headers)


def _label(case: Case) -> str:
    truck = case.truck()
    return truck.label if truck else case.id
