"""Signing in with the shop's passphrase, and the customer's read-only page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from anyio import CapacityLimiter, to_thread
from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from witnessmark.errors import Forbidden, WitnessmarkError, http_status
from witnessmark.model.entries.agreed_data import QuoteData
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.web.bench.state import ServerState, bench_of, page, viewer_of
from witnessmark.web.bench.stops_told import stops_told
from witnessmark.web.bench.strip import proof_words
from witnessmark.web.door.attempts import TooMany
from witnessmark.web.door.connections import address_key
from witnessmark.web.door.doors import COOKIE, DEVICE
from witnessmark.web.door.posted import Posted, posted
from witnessmark.workflow.case.locks import (
    DEVICE_S,
    SESSION_S,
    SignedIn,
    customer_case,
    end_session,
    is_known_device,
    new_device,
    own_secrets,
    session_token,
    set_own_secret,
)
from witnessmark.workflow.case.locks import sign_in as find_who
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
    try:
        made = await to_thread.run_sync(_enter, bench, request, form, limiter=_threads(bench))
    except WitnessmarkError as error:
        return _login_page(request, error, form)
    response = RedirectResponse(_inside(form.one("next")), 303)
    for name, value, age in (
        (COOKIE, made.session, SESSION_S),
        (DEVICE, made.device, DEVICE_S),
    ):
        response.set_cookie(
            name,
            value,
            max_age=age,
            httponly=True,
            samesite="lax",
            secure=True,
        )
    return response


@router.post("/logout")
def logout(request: Request) -> Response:
    """Sign out: the session ends at once, on this device and wherever it was copied to."""
    token = request.cookies.get(COOKIE, "")
    if token:
        end_session(bench_of(request).shop, token)
    response = RedirectResponse("/login", 303)
    response.delete_cookie(COOKIE, secure=True, httponly=True, samesite="lax")
    response.headers["clear-site-data"] = '"cache"'
    return response


@router.get("/me")
def me(request: Request) -> Response:
    """Show the form for one's own passphrase."""
    return _me_page(request, None)


@router.post("/me")
async def set_own(request: Request) -> Response:
    """Give whoever is signed in a passphrase or PIN of his own."""
    form = await posted(request)
    bench = bench_of(request)
    try:
        await to_thread.run_sync(_set_own, bench, request, form, limiter=_threads(bench))
    except WitnessmarkError as error:
        return _me_page(request, error)
    return _me_page(request, None, done=True)


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
        "asks": any(not data.final for _, data in case.of(QuoteData)) and not case.works(),
        "names": bench.names(),
        **proof_words(looked.worked, bench.si()),
        **stops_told(bench, case, 0.0),
    }
    return page(request, "customer.html", **values)


@dataclass(frozen=True, slots=True)
class _Entered:
    session: str
    device: str


def _enter(bench: ServerState, request: Request, form: Posted) -> _Entered:
    """Count the try, then look at it: a wrong one costs a place before it costs a hash."""
    shop = bench.shop
    token = request.cookies.get(DEVICE, "")[:200]
    device = is_known_device(shop, token)
    source = f"device {device}" if device else f"address {_address(request)}"
    name = form.one("name")[:80]
    text = (form.fields.get("passphrase") or [""])[-1]
    found = _tried(
        bench,
        source,
        lambda: find_who(shop, name, text, known_device=device is not None),
        known=device is not None,
    )
    if found is None:
        raise Forbidden(
            "That is not the passphrase for this name.",
            do="Ask in the office. A PIN opens only a device that was signed in on before.",
        )
    bench.throttle.forgive(source)
    end_session(shop, request.cookies.get(COOKIE, "")[:200])
    token = token if device else new_device(shop)
    return _Entered(session_token(shop, found, device=device or ""), token)


def _tried(
    bench: ServerState, source: str, look: Callable[[], SignedIn | None], *, known: bool
) -> SignedIn | None:
    """Count a try of *source* and look at it; one that nobody looked at is given back.

    Raises:
        TooMany: too many tries of his went wrong, or too many people sign in just now.
    """
    bench.throttle.count(source)
    try:
        return bench.hashes.run(look, known=known)
    except TooMany:
        bench.throttle.forgive(source)
        raise


def _set_own(bench: ServerState, request: Request, form: Posted) -> None:
    name = viewer_of(request).name
    if not name:
        raise Forbidden("Nobody is signed in.", do="Passphrases are for the shop's network.")
    source = f"own {name}"
    current = (form.fields.get("current") or [""])[-1]
    own = (form.fields.get("own") or [""])[-1]
    found = _tried(
        bench,
        source,
        lambda: find_who(bench.shop, name, current, known_device=True),
        known=True,
    )
    if found is None:
        raise Forbidden("What you sign in with now is something else.", do="Try again.")
    bench.throttle.forgive(source)
    bench.hashes.run(lambda: set_own_secret(bench.shop, name, own), known=True)


def _me_page(request: Request, error: WitnessmarkError | None, *, done: bool = False) -> Response:
    shop, name = bench_of(request).shop, viewer_of(request).name
    return page(
        request,
        "me.html",
        429 if isinstance(error, TooMany) else http_status(error) if error else 200,
        error=error,
        done=done,
        person=any(p.name == name for p in people_of(shop)),
        kind=own_secrets(shop).get(name, ""),
    )


def _address(request: Request) -> str:
    return address_key(request.client.host) if request.client else ""


def _threads(bench: ServerState) -> CapacityLimiter:
    """Signing in has threads of its own: a crowd at the door slows no page."""
    if not bench.login_threads:
        hashes = bench.hashes
        bench.login_threads.append(
            CapacityLimiter(hashes.at_once + hashes.waiting + hashes.reserved + 4)
        )
    return bench.login_threads[0]


def _login_page(request: Request, error: WitnessmarkError | None, form: Posted) -> Response:
    status = 429 if isinstance(error, TooMany) else http_status(error) if error else 200
    onward = form.one("next") or request.query_params.get("next", "/")
    shop = bench_of(request).shop
    # Who works here is nobody's business before somebody was signed in on the device.
    known = is_known_device(shop, request.cookies.get(DEVICE, "")[:200]) is not None
    return page(
        request,
        "login.html",
        status,
        error=error,
        onward=_inside(onward),
        people=[p.name for p in people_of(shop)] if known else [],
        given=form.one("name"),
    )


def _inside(where: str) -> str:
    """Return an address within this page only; anything else becomes the ledger."""
    good = where.startswith("/") and where[1:2] not in {"/", "\\"} and where.isprintable()
    return where if good else "/"
