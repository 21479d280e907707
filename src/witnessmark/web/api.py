"""The programming interface: cases, entries, assessments, as JSON. Described without assets."""

from __future__ import annotations

from typing import Any, Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field
from starlette.responses import JSONResponse, Response

from witnessmark.errors import Conflict, InputRefused
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.entry import Kind, json_schema
from witnessmark.web.bench.state import ServerState, bench_of, page, viewer_of
from witnessmark.web.pages.pages_cases import ledger_rows
from witnessmark.words.say import inspection as say
from witnessmark.workflow.case.shop_settings import shows_si
from witnessmark.workflow.dossier.as_json import assessment_json
from witnessmark.workflow.inspecting.inspect_case import (
    head_of,
    must_sign_himself,
    sheet_json,
    sheet_of,
    sign,
)
from witnessmark.workflow.inspecting.look_at_point import Look, look
from witnessmark.workflow.shop.ledger import row_of
from witnessmark.workflow.shop.on_the_clock import tell_other_cases

router = APIRouter()

_WAIT_S = 20.0


class Refusal(BaseModel):
    """What is answered when something is refused."""

    what: str
    where: str = ""
    do: str = ""


class CaseRow(BaseModel):
    """One case of the ledger."""

    id: str
    truck: str
    complaint: str
    waits_for: str
    detail: str
    open: bool
    last: str


class NewCase(BaseModel):
    """A case to be opened."""

    id: str = Field(max_length=80)
    lines: list[str] = Field(default=[], max_length=1000)


class NewEntry(BaseModel):
    """An entry to be added. With an id of its own it may be sent twice and is stored once."""

    model_config = ConfigDict(extra="forbid")

    kind: Kind
    data: dict[str, Any]
    id: str | None = Field(default=None, max_length=80)
    at: str | None = Field(default=None, max_length=40)


class NewLook(BaseModel):
    """A look at a point of the inspection, as ``witnessmark inspect look`` takes it."""

    model_config = ConfigDict(extra="forbid")

    point: str = Field(max_length=80)
    result: str = Field(default="", max_length=20)
    place: str = Field(default="", max_length=20)
    value: str = Field(default="", max_length=64)
    gauge: str = Field(default="", max_length=80)
    error: str = Field(default="", max_length=40)
    given: dict[str, str] = Field(default={}, max_length=12)
    fault: str = Field(default="", max_length=80)
    note: str = Field(default="", max_length=4000)


class NewLooks(BaseModel):
    """Looks at points. With an id of their own they may be sent twice and are stored once."""

    model_config = ConfigDict(extra="forbid")

    looks: list[NewLook] = Field(min_length=1, max_length=200)
    id: str | None = Field(default=None, max_length=80, pattern=r"^[A-Za-z0-9._:-]*$")
    at: str | None = Field(default=None, max_length=40)


class NewSignature(BaseModel):
    """The signature under an inspection."""

    model_config = ConfigDict(extra="forbid")

    inspector: str = Field(max_length=200, pattern=r"\S")
    brake_inspector: str | None = Field(default=None, max_length=200)
    accurate: Literal[True]


class Stored(BaseModel):
    """What was stored."""

    id: str
    kind: str
    at: str
    line: str


_REFUSED: dict[int | str, dict[str, Any]] = {
    code: {"model": Refusal} for code in (400, 401, 403, 404, 409, 413, 421, 422)
}


@router.get("/api", include_in_schema=False)
def described(request: Request) -> Response:
    """Show what the interface offers."""
    found = request.app.openapi()
    rows = [
        (method.upper(), path, row)
        for path, methods in found["paths"].items()
        for method, row in methods.items()
    ]
    return page(request, "api.html", rows=rows)


@router.get("/api/cases", responses=_REFUSED)
def cases(request: Request) -> list[CaseRow]:
    """List the cases and what each of them waits for."""
    bench = bench_of(request)
    rows = zip(bench.shop.list_cases(), ledger_rows(bench), strict=True)
    return [
        CaseRow(
            id=row.case,
            truck=row.truck,
            complaint=row.complaint,
            waits_for=row.waits.words,
            detail=row.waits.detail,
            open=row.is_open,
            last=summary.last,
        )
        for summary, row in rows
    ]


@router.post("/api/cases", status_code=201, responses=_REFUSED)
def new_case(request: Request, case: NewCase) -> CaseRow:
    """Open a case with its first lines."""
    bench = bench_of(request)
    made = bench.shop.new_case(case.id, case.lines, by=viewer_of(request).name or None)
    row = row_of(made)
    return CaseRow(
        id=row.case,
        truck=row.truck,
        complaint=row.complaint,
        waits_for=row.waits.words,
        detail=row.waits.detail,
        open=row.is_open,
        last=row.since,
    )


@router.get("/api/cases/{case_id}/entries", responses=_REFUSED)
def entries(request: Request, case_id: str) -> list[Stored]:
    """Return the entries of a case in order, each with its line as it is stored."""
    case = bench_of(request).desk.case(case_id)
    return [Stored(id=e.id, kind=e.kind, at=e.at, line=e.line) for e in case.entries]


@router.post("/api/cases/{case_id}/entries", status_code=201, responses=_REFUSED)
def add_entry(request: Request, case_id: str, entry: NewEntry) -> Stored:
    """Add one entry to a case."""
    if entry.kind == "certificate":
        must_sign_himself(viewer_of(request).name or None, entry.data)
    made = bench_of(request).shop.add(
        case_id,
        entry.kind,
        entry.data,
        by=viewer_of(request).name or None,
        entry_id=entry.id or None,
        at=entry.at,
    )
    tell_other_cases(bench_of(request).shop, case_id, [made])
    return Stored(id=made.id, kind=made.kind, at=made.at, line=made.line)


@router.get("/api/cases/{case_id}/assessment", responses=_REFUSED)
def assessment(request: Request, case_id: str) -> Response:
    """Return findings, odds, next steps and proof, as ``witnessmark assess --json`` does."""
    bench = bench_of(request)
    found = _worked_out(bench, case_id, "The odds are still being worked out.")
    if isinstance(found, JSONResponse):
        return found
    return JSONResponse(assessment_json(found, si=shows_si(bench.shop)))


@router.get("/api/cases/{case_id}/inspection", responses=_REFUSED)
def inspection(request: Request, case_id: str) -> Response:
    """Return the periodic inspection as it stands, as ``witnessmark inspect show --json`` does."""
    bench = bench_of(request)
    found = _worked_out(bench, case_id, "What stops the vehicle is still worked out.")
    if isinstance(found, JSONResponse):
        return found
    return JSONResponse(sheet_json(sheet_of(bench.shop, found.case, found.stops)))


def _worked_out(bench: ServerState, case_id: str, until_then: str) -> Dossier | JSONResponse:
    """Return the current dossier of a case, or the answer while there is none."""
    looked = bench.desk.look(case_id, wait_s=_WAIT_S)
    if looked.assessment is not None and looked.current:
        return looked.assessment
    what = looked.trouble or until_then
    return JSONResponse({"what": what, "where": case_id, "do": "Ask again."}, 409)


@router.post("/api/cases/{case_id}/inspection/looks", status_code=201, responses=_REFUSED)
def add_looks(request: Request, case_id: str, looks: NewLooks) -> list[str]:
    """Enter looks at points, all or none; a defect opens a complaint. Returns the new entries."""
    bench, by = bench_of(request), viewer_of(request).name or None
    if head_of(bench.desk.case(case_id)) is None:
        raise Conflict(say.not_begun(), where="inspection", do="Begin the inspection first.")
    made = [Look(**one.model_dump()) for one in looks.looks]
    return look(bench.shop, case_id, made, by=by, at=looks.at, entry_id=looks.id or None)


@router.post("/api/cases/{case_id}/inspection/certificate", status_code=201, responses=_REFUSED)
def add_certificate(request: Request, case_id: str, signed: NewSignature) -> Stored:
    """Sign the certificate; refused with every reason while anything is open."""
    bench = bench_of(request)
    looked = bench.desk.look(case_id, wait_s=_WAIT_S)
    if looked.assessment is None or not looked.current:
        raise Conflict("What stops the vehicle is still worked out.", do="Ask again.")
    found = looked.assessment
    sheet = sheet_of(bench.shop, found.case, found.stops)
    data = signed.model_dump(exclude_none=True)
    try:
        made = sign(bench.shop, case_id, data, sheet, by=viewer_of(request).name or None)
    except InputRefused as refused:
        if not sheet.withheld:
            raise
        raise Conflict(refused.what, where=refused.where, do=refused.do) from None
    return Stored(id=made.id, kind=made.kind, at=made.at, line=made.line)


@router.get("/api/entry-schema", responses=_REFUSED)
def entry_schema() -> dict[str, Any]:
    """Return the JSON Schema of one entry."""
    return json_schema()
