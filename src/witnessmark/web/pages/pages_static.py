"""Styles, scripts and the like: our own files, from our own machine."""

from __future__ import annotations

from importlib.resources import files as package_files
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import PlainTextResponse, Response

from witnessmark.errors import NotFound
from witnessmark.web.bench.state import THEMES, WORKER, going_on

router = APIRouter(include_in_schema=False)

_TYPES = {
    "css": "text/css; charset=utf-8",
    "js": "text/javascript; charset=utf-8",
    "svg": "image/svg+xml",
    "webmanifest": "application/manifest+json",
}


def _load() -> dict[str, tuple[bytes, str]]:
    folder = package_files("witnessmark.web") / "static"
    return {
        item.name: (item.read_bytes(), _TYPES[item.name.rsplit(".", 1)[-1]])
        for item in folder.iterdir()
        if item.name.rsplit(".", 1)[-1] in _TYPES
    }


_FILES = _load()


@router.get("/static/{name}")
async def static(request: Request, name: str) -> Response:
    """Return one of our own files; its address changes with its content."""
    if name not in _FILES:
        raise NotFound("There is no such file.")
    content, kind = _FILES[name]
    kept = "public, max-age=31536000, immutable" if request.url.query else "no-cache"
    return Response(content, media_type=kind, headers={"cache-control": kept})


@router.get("/health")
async def health() -> Response:
    """Say that the server is there."""
    return PlainTextResponse("ok")


@router.post("/theme")
async def theme(request: Request) -> Response:
    """Remember on this device whether pages are dark or light."""
    form = await request.form(max_files=0, max_fields=10)
    chosen = str(form.get("theme", "device"))
    back = str(form.get("back", "/"))
    response = going_on(request, back if back.startswith("/") and back[1:2] not in "/\\" else "/")
    if chosen in THEMES:
        response.set_cookie("wm_theme", chosen, max_age=31536000, samesite="lax", httponly=True)
    return response


@router.post("/worker")
async def worker(request: Request) -> Response:
    """Remember on this device who works at it, where nobody signs in."""
    form = await request.form(max_files=0, max_fields=10)
    back = str(form.get("back", "/"))
    response = going_on(request, back if back.startswith("/") and back[1:2] not in "/\\" else "/")
    name = quote(str(form.get("worker", ""))[:80])
    response.set_cookie(WORKER, name, max_age=31536000, samesite="lax", httponly=True)
    return response
