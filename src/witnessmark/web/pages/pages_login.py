"""Signing in with the shop's passphrase, and the customer's read-only page."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from witnessmark.errors import Forbidden, WitnessmarkError, http_status
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.web.bench.state import ServerState, bench_of, page
from witnessmark.web.bench.strip import proof_words
from witnessmark.web.door.doors import COOKIE, TooMany
from witnessmark.web.door.posted import Posted, posted
from witnessmark.workflow.case.locks import customer_case, role_for, session_token
from witnessmark.workflow.case.shop_settings import people_of

router = APIRouter(include_in_schema=False)


@router.get("/login")
def login(request: Request) -> Response:
    """Show the form for the passphrase."""
    return _login_page(request, None, Posted({}, {}))


@router.post("/login")
async def sign_in(request: Request) -> Response:
    """Sign somebody in."""
    form = await posted(request)
    bench = bench_of(request)
    address = request.client.host if request.client else ""
    try:
        token = await run_in_threadpool(_token, bench, address, form)
    except WitnessmarkError as error:
        return _login_page(request, error, form)
    response = RedirectResponse(_inside(form.one("next")), 303)
    response.set_cookie(
        COOKIE,
        token,
        max_age=14 * 86400,
        httponly=True,
        samesite="lax",
        secure=bench.access.secure,
    )
    return response


@router.post("/logout")
def logout() -> Response:
    """Sign out on this device."""
    response = RedirectResponse("/login", 303)
    response.delete_cookie(COOKIE)
    return response


@router.get("/c/{token}")
def customer(request: Request, token: str) -> Response:
    """Show a customer his case, read only."""
    bench = bench_of(request)
    case_id = customer_case(bench.shop, token)
    looked = bench.desk.look(case_id, wait_s=1.5)
    case = bench.desk.case(case_id)
    truck = case.truck()
    values: dict[str, Any] = {
        "case": case,
        "truck": truck,
        "proofs": looked.assessment.proofs if looked.assessment else (),
        "works": [data for _, data in case.of(WorkData)],
        "names": bench.names(),
        **proof_words(looked.worked, bench.si()),
    }
    return page(request, "customer.html", **values)


def _token(bench: ServerState, address: str, form: Posted) -> str:
    bench.throttle.check(address)
    role = role_for(bench.shop, (form.fields.get("passphrase") or [""])[-1])
    if role is None:
        bench.throttle.failed(address)
        raise Forbidden("That is not the passphrase.", do="Ask in the office.")
    name = form.one("name")[:80] or role
    return session_token(bench.shop, name, role)


def _login_page(request: Request, error: WitnessmarkError | None, form: Posted) -> Response:
    status = 429 if isinstance(error, TooMany) else http_status(error) if error else 200
    onward = form.one("next") or request.query_params.get("next", "/")
    people = people_of(bench_of(request).shop)
    return page(
        request,
        "login.html",
        status,
        error=error,
        onward=_inside(onward),
        people=[p.name for p in people],
        given=form.one("name"),
    )


def _inside(where: str) -> str:
    """Return an address within this page only; anything else becomes the ledger."""
    good = where.startswith("/") and where[1:2] not in {"/", "\\"} and where.isprintable()
    return where if good else "/"
