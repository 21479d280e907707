"""The bench page as an application: locks, pages, and one answer for every trouble."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from fastapi import FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Match
from starlette.types import Scope

from witnessmark.errors import InputRefused, NotFound, WitnessmarkError, http_status
from witnessmark.model.dossier import Dossier
from witnessmark.version import __version__
from witnessmark.web import api
from witnessmark.web.bench.state import ServerState, page
from witnessmark.web.described import describe
from witnessmark.web.door.attempts import TooMany
from witnessmark.web.door.connections import Connections
from witnessmark.web.door.doors import Access, Doors
from witnessmark.web.pages import (
    pages_about,
    pages_ask,
    pages_bay,
    pages_cases,
    pages_drive,
    pages_entries,
    pages_from,
    pages_inspection,
    pages_login,
    pages_override,
    pages_paper,
    pages_phone,
    pages_recordings,
    pages_round,
    pages_say,
    pages_shop,
    pages_static,
)
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.shop.worker import Worker

__all__ = ["create_app"]

_HEADINGS = {
    400: "That did not work",
    401: "Sign in first",
    403: "Not allowed",
    404: "Not here",
    409: "Changed meanwhile",
    408: "Too slow",
    413: "Too large",
    422: "That cannot be used",
    429: "Too many tries",
    500: "A fault of ours",
    503: "Not possible now",
    507: "No room left",
}


def create_app(
    shop: Shop,
    *,
    access: Access | None = None,
    assess: Callable[[str], Dossier] | Worker | None = None,
    connections: Connections | None = None,
) -> FastAPI:
    """Make the application of one shop.

    Args:
        shop: the open shop; the caller closes it.
        access: how the page is reached; loopback when not given.
        assess: case id -> assessment, or a worker; the workflow's own, here, when not given.
        connections: the connections of the server, told which of them are busy.
    """
    bench = ServerState.make(shop, assess, access or Access())

    @asynccontextmanager
    async def life(_: FastAPI) -> AsyncIterator[None]:
        bench.warm_up()
        yield
        bench.drive.stop()
        bench.desk.close()

    app = FastAPI(
        title="Witnessmark bench",
        version=__version__,
        description="Cases, entries and assessments of one shop. Writes need the same origin.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=life,
    )
    app.state.bench = bench
    app.state.ways = []
    for module in (
        pages_cases,
        pages_drive,
        pages_entries,
        pages_about,
        pages_from,
        pages_inspection,
        pages_login,
        pages_override,
        pages_ask,
        pages_bay,
        pages_paper,
        pages_phone,
        pages_recordings,
        pages_round,
        pages_say,
        pages_shop,
        pages_static,
        api,
    ):
        app.include_router(module.router)
        app.state.ways += module.router.routes
    describe(app, shop)
    app.add_exception_handler(WitnessmarkError, _refused)
    app.add_exception_handler(RequestValidationError, _invalid)
    app.add_exception_handler(HTTPException, _missing)
    app.add_exception_handler(ClientDisconnect, _cut_off)
    app.add_middleware(Doors, shop=shop, access=bench.access, connections=connections, fault=_fault)
    return app


def answer(request: Request, error: WitnessmarkError, status: int) -> Response:
    """Answer a refusal as a page, or as JSON where JSON was asked for."""
    if _wants_json(request):
        found = {"what": error.what, "where": error.where, "do": error.do}
        return JSONResponse(found, status)
    heading = _HEADINGS.get(status, "That did not work")
    back = _back(request)
    return page(request, "trouble.html", status, heading=heading, error=error, back=back)


def _wants_json(request: Request) -> bool:
    path = request.url.path
    return (
        path.startswith(("/api/", "/uploads"))
        or "x-witnessmark" in request.headers
        or "text/html" not in request.headers.get("accept", "text/html")
    )


def _back(request: Request) -> str:
    parts = request.url.path.split("/")
    return f"/cases/{parts[2]}" if len(parts) > 3 and parts[1] == "cases" else "/"


async def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, WitnessmarkError)  # noqa: S101
    status = 429 if isinstance(error, TooMany) else http_status(error)
    return answer(request, error, status)


async def _invalid(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    found = error.errors()
    place = ".".join(str(p) for p in found[0]["loc"]) if found else ""
    what = str(found[0]["msg"]) if found else "The request cannot be read."
    return answer(request, InputRefused(f"{what}.", where=place), 422)


async def _missing(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101
    if error.status_code == 404:
        refusal: WitnessmarkError = NotFound("There is no such page.", do="Go to the cases.")
    else:
        refusal = InputRefused(f"{error.detail}.")
    found = answer(request, refusal, error.status_code)
    if error.status_code == 405:
        found.headers["allow"] = ", ".join(sorted(_methods(request)))
    return found


def _methods(request: Request) -> set[str]:
    """Return the methods that a path is offered with, over all routes that fit it."""
    methods: set[str] = set()
    for route in request.app.state.ways:
        if route.matches(request.scope)[0] is not Match.NONE:
            methods |= getattr(route, "methods", None) or set()
    return methods


async def _cut_off(request: Request, _: Exception) -> Response:
    if request.scope.get("state", {}).get("too_slow"):
        refusal = InputRefused("The request came too slowly and was cut off.", do="Send it again.")
        return answer(request, refusal, 408)
    return answer(request, InputRefused("The request was cut off or is too large."), 413)


def _fault(scope: Scope, _: Exception) -> Response:
    refusal = WitnessmarkError(
        "Witnessmark failed on its own account. Nothing that was saved is lost.",
        do="Go back and try again; if it happens again, report it.",
    )
    return answer(Request(scope), refusal, 500)
