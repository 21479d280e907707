"""Paper: report, estimate, torque card, road-test card, links, exports, QR code."""

from __future__ import annotations

import csv
import io
from typing import Any

import segno
from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, Response

from witnessmark.errors import Conflict, InputRefused
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.model.step import forbidden_by
from witnessmark.web.bench.state import ServerState, bench_of, page, viewer_of
from witnessmark.web.bench.stops_told import stops_told
from witnessmark.web.bench.strip import entry_words
from witnessmark.web.door.connections import own_address
from witnessmark.web.door.posted import posted
from witnessmark.workflow.case.locks import customer_token, end_link, links_of
from witnessmark.workflow.case.photo import photo_bytes
from witnessmark.workflow.case.shop_settings import own_rates
from witnessmark.workflow.papers.bay_cards import torque_sheet
from witnessmark.workflow.papers.case_papers import report_html, report_pdf
from witnessmark.workflow.shop.tables_out import invoice_csv

router = APIRouter(include_in_schema=False)

_PAPER_WAIT_S = 20.0

#: The report is a page of its own with its own style and no script at all.
PAPER_CSP = (
    "sandbox allow-modals; default-src 'none'; style-src 'unsafe-inline'; img-src data:; "
    "frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
)

#: What is driven and recorded for any complaint, with what it needs of the truck.
_DRIVE: tuple[tuple[tuple[str, ...], str], ...] = (
    (("running",), "Idle for 30 s."),
    (("warm",), "1,000, 1,500 and 1,800 rpm in neutral, 15 s each."),
    (
        ("road", "load"),
        "Full-load pull from 1,300 to 1,700 rpm in one gear, at least 8 s, on a hill that can be "
        "driven again.",
    ),
    (("road", "load"), "The same hill in another gear at the same engine speed."),
    (("road",), "Coast at the same road speed, clutch down."),
    (("road", "load"), "After the pull: idle for two minutes, recorder still on."),
)


@router.get("/cases/{case_id}/report")
def report(
    request: Request, case_id: str, quote: bool = False, appendix: bool = False, language: str = ""
) -> Response:
    """Show the customer's page, its appendix, or the estimate."""
    bench = bench_of(request)
    found = settled_dossier(bench, case_id)
    if found is None:
        return _comes_by_itself(request, case_id)
    text = report_html(
        bench.shop, case_id, quote=quote, appendix=appendix, assessment=found,
        language=language[:2],
    )  # fmt: skip
    return HTMLResponse(text, headers={"content-security-policy": PAPER_CSP})


@router.get("/cases/{case_id}/report.pdf")
def report_as_pdf(
    request: Request, case_id: str, quote: bool = False, appendix: bool = False, language: str = ""
) -> Response:
    """Return the customer's page, its appendix, or the estimate, as PDF."""
    bench = bench_of(request)
    found = settled_dossier(bench, case_id)
    if found is None:
        return _comes_by_itself(request, case_id)
    content = report_pdf(
        bench.shop, case_id, quote=quote, appendix=appendix, assessment=found,
        language=language[:2],
    )  # fmt: skip
    name = f"{case_id}-{'estimate' if quote else 'appendix' if appendix else 'report'}.pdf"
    return Response(content, media_type="application/pdf", headers=attached(name, inline=True))


@router.get("/cases/{case_id}/torque-card")
def torque_card(request: Request, case_id: str) -> Response:
    """Show the tightenings of a case as a card to print and tick."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    sheet = torque_sheet(case, bench.knowledge(case))
    told = stops_told(bench, case, _PAPER_WAIT_S)
    return page(request, "torque_card.html", case=case, label=_label(case), sheet=sheet, **told)


@router.get("/cases/{case_id}/road-test")
def road_test(request: Request, case_id: str) -> Response:
    """Show what to drive and record for the complaints of a case."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    found = bench.knowledge(case).families
    families = [found[f] for f in case.families() if f in found]
    told = bench.assessment(case_id) if families else None
    stops = told.stops if told is not None else ()
    drive = [words for needs, words in _DRIVE if forbidden_by(stops, "", needs) is None]
    parked = forbidden_by(stops, "", ("road",)) is not None
    return page(request, "road_test.html", case=case, label=_label(case), families=families,
                stops=stops, drive=drive, parked=parked,
                overridden=told.overridden if told is not None else ())  # fmt: skip


@router.get("/cases/{case_id}/hand-over")
def hand_over(request: Request, case_id: str) -> Response:
    """Show the ways a case leaves the bench: link, QR code, exports."""
    return _hand_over(request, case_id, "")


@router.post("/cases/{case_id}/hand-over")
async def make_link(request: Request, case_id: str) -> Response:
    """Make a signed link for the customer that ends by itself."""
    viewer_of(request).must_own()
    form = await posted(request)
    bench = bench_of(request)
    given = form.one("days")
    if given and not (given.isascii() and given.isdecimal() and len(given) < 4):
        raise InputRefused(f"'{given[:20]}' is not a number of days.", where="days")

    def work() -> str:
        bench.shop.casebook.count(case_id)
        if form.one("end"):
            if any(link.id == form.one("end") for link in links_of(bench.shop, case_id)):
                end_link(bench.shop, form.one("end"))
            return ""
        by = viewer_of(request).name
        return customer_token(bench.shop, case_id, int(given or 14), by=by)

    token = await run_in_threadpool(work)
    return await run_in_threadpool(lambda: _hand_over(request, case_id, token))


@router.get("/cases/{case_id}/qr.svg")
def qr(request: Request, case_id: str) -> Response:
    """Return the QR code that opens this case on another device of the shop."""
    bench = bench_of(request)
    bench.shop.casebook.count(case_id)
    drawn = io.BytesIO()
    address = f"{_base(request, bench)}/cases/{case_id}"
    segno.make(address, error="m").save(
        drawn, kind="svg", scale=6, border=4, dark="#000", light="#fff", xmldecl=False
    )
    return Response(drawn.getvalue(), media_type="image/svg+xml")


@router.get("/cases/{case_id}/export.jsonl")
def export(request: Request, case_id: str) -> Response:
    """Return a case as it is stored, byte for byte."""
    content = bench_of(request).shop.export(case_id)
    return Response(content, media_type="application/jsonl", headers=attached(f"{case_id}.jsonl"))


@router.get("/cases/{case_id}/readings.csv")
def readings(request: Request, case_id: str) -> Response:
    """Return the readings and all entries of a case as a table for a spreadsheet."""
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    names, stages = bench.names(case), case.stages()
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(["entry", "at", "kind", "after work no.", "quantity", "value", "rpm", "words"])
    for entry in case.live():
        data = entry.data
        taken = data if isinstance(data, ReadingData) else None
        row = [
            entry.id,
            entry.at,
            entry.kind,
            str(stages[entry.id]),
            taken.quantity if taken else "",
            taken.value if taken else "",
            f"{taken.point.rpm:g}" if taken and taken.point.rpm is not None else "",
            entry_words(entry, names),
        ]
        table.writerow([safe_cell(text) for text in row])
    content = out.getvalue().encode("utf-8-sig")
    return Response(content, media_type="text/csv", headers=attached(f"{case_id}.csv"))


@router.get("/cases/{case_id}/invoice.csv")
def invoice(request: Request, case_id: str) -> Response:
    """Return the lines of the bill for the bookkeeper's own program."""
    bench = bench_of(request)
    content = invoice_csv(bench.desk.case(case_id), own_rates(bench.shop)).encode("utf-8-sig")
    name = f"{case_id}-invoice-lines.csv"
    return Response(content, media_type="text/csv", headers=attached(name))


@router.get("/files/{case_id}/{entry_id}")
def photo(request: Request, case_id: str, entry_id: str, original: bool = False) -> Response:
    """Return a photo, without place and device data unless the original is asked for."""
    content, kind = photo_bytes(bench_of(request).shop, case_id, entry_id, original=original)
    headers = {
        "content-security-policy": "default-src 'none'; sandbox",
        "cache-control": "private, max-age=86400",
    }
    return Response(content, media_type=kind, headers=headers)


def safe_cell(text: str) -> str:
    """Return a cell that no spreadsheet takes for a formula."""
    return f"'{text}" if text[:1] in {"=", "+", "-", "@", "\t", "\r", "\n"} else text


def settled_dossier(bench: ServerState, case_id: str) -> Dossier | None:
    """Return the assessment of the case as it stands; a paper never speaks of an older state.

    Returns:
        ``None`` while it is being worked out.

    Raises:
        Conflict: it cannot be worked out.
    """
    looked = bench.desk.look(case_id, wait_s=_PAPER_WAIT_S)
    if looked.assessment is not None and looked.current:
        return looked.assessment
    if looked.trouble or not looked.working:
        raise Conflict(looked.trouble or "The work on the case was stopped.", do="Open the case.")
    return None


def _comes_by_itself(request: Request, case_id: str) -> Response:
    """Answer too early a question: the page asks again by itself, and needs no script for it."""
    case = bench_of(request).desk.case(case_id)
    answer = page(request, "wait.html", 202, case=case, label=_label(case))
    answer.headers["refresh"] = "3"
    return answer


def _hand_over(request: Request, case_id: str, token: str) -> Response:
    bench = bench_of(request)
    case = bench.desk.case(case_id)
    link = f"{_base(request, bench)}/c/{token}" if token else ""
    values: dict[str, Any] = {"case": case, "label": _label(case), "link": link}
    values["links"] = links_of(bench.shop, case_id)
    values["in_network"] = "" if bench.access.lan else _in_network(request)
    values |= stops_told(bench, case, 1.5)
    return page(request, "hand_over.html", address=_base(request, bench), **values)


def _in_network(request: Request) -> str:
    """Return the address that other devices would use; empty where there is no network."""
    own = own_address()
    port = f":{request.url.port}" if request.url.port else ""
    return "" if own.startswith("127.") else f"https://{own}{port}"


def _base(request: Request, bench: ServerState) -> str:
    return bench.access.address or str(request.base_url).rstrip("/")


def _label(case: Case) -> str:
    truck = case.truck()
    return truck.label if truck else case.id


def attached(name: str, *, inline: bool = False) -> dict[str, str]:
    """Return the header that names a file which is sent."""
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in name)
    return {"content-disposition": f'{"inline" if inline else "attachment"}; filename="{kept}"'}
