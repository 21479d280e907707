"""The drive: recorded by this machine, watched on a tablet in the cab."""

from __future__ import annotations

from typing import Literal

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import InputRefused
from witnessmark.web.bench.state import ServerState, bench_of, by_of, going_on, page
from witnessmark.web.door.posted import posted
from witnessmark.web.pages.pages_cases import events
from witnessmark.words.say.driven import passenger
from witnessmark.workflow.recordings.drive_card import CardDrive

router = APIRouter(include_in_schema=False)


@router.get("/cases/{case_id}/drive")
def drive(request: Request, case_id: str) -> Response:
    """Show the drive of a case, or how to begin one."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    truck = case.truck()
    other = bench.drive.case if bench.drive.running() and bench.drive.case != case_id else ""
    now = bench.drive.look() if bench.drive.case == case_id else None
    return page(request, "drive.html", case=case, label=truck.label if truck else case.id,
                now=now, other=other, passenger=passenger(),
                stops=bench.assessment(case_id).stops if case.families() else ())  # fmt: skip


@router.post("/cases/{case_id}/drive")
async def begin(request: Request, case_id: str) -> Response:
    """Begin to record, or stop."""
    form = await posted(request)
    bench, by = bench_of(request), by_of(request)
    if form.one("do") == "stop":
        await run_in_threadpool(bench.drive.stop)
        return going_on(request, f"/cases/{case_id}/drive")
    rate = _rate(form.one("bitrate"))

    def start() -> None:
        bench.drive.start(
            bench.shop, case_id, form.one("bus"), _card(bench, case_id),
            bitrate=rate, si=bench.si(), by=by,
        )  # fmt: skip

    await run_in_threadpool(start)
    return going_on(request, f"/cases/{case_id}/drive")


@router.get("/cases/{case_id}/drive/events")
async def drive_events(request: Request, case_id: str) -> Response:
    """Say what the drive shows, whenever it changes."""
    bench = bench_of(request)
    await run_in_threadpool(bench.desk.version, case_id)
    return events(request, bench.drive.look)


def _card(bench: ServerState, case_id: str) -> CardDrive:
    case = bench.desk.case(case_id)
    stops = bench.assessment(case_id).stops if case.families() else ()
    return CardDrive(case.truck(), case.families(), bench.knowledge(case), stops)


def _rate(text: str) -> int | Literal["auto"] | None:
    if text in {"", "auto"}:
        return "auto" if text else None
    if not (text.isascii() and text.isdecimal() and len(text) < 8):
        raise InputRefused(f"'{text[:20]}' is no bit rate.", where="bitrate", do="250000, 500000.")
    return int(text)
