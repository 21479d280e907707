"""Styles, scripts and the like: our own files, from our own machine."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from importlib.resources import files as package_files
from urllib.parse import quote

from fastapi import APIRouter, Request
from starlette.responses import PlainTextResponse, Response

from witnessmark.errors import NotFound
from witnessmark.version import __version__
from witnessmark.web.bench.state import THEMES, WORKER, asset, bench_of, going_on, page
from witnessmark.web.door.certificate import authority_file, fingerprint

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


@router.get("/sw.js")
async def service_worker() -> Response:
    """Return the script that keeps pages on a device; it changes with whatever it keeps."""
    headers = {"cache-control": "no-cache"}
    return Response(_worker_text(), media_type=_TYPES["js"], headers=headers)


@cache
def _worker_text() -> str:
    shell = [asset(name) for name in sorted(_FILES) if name != "sw.js" and "." in name]
    shell = [s.split("?")[0] if s.split("?")[0].endswith("webmanifest") else s for s in shell]
    seen = hashlib.sha256("".join([__version__, *shell]).encode())
    seen.update(_FILES["sw.js"][0])
    for template in sorted((package_files("witnessmark.web") / "templates").iterdir(), key=str):
        seen.update(template.read_bytes())
    text = _FILES["sw.js"][0].decode("utf-8")
    text = text.replace("/*VERSION*/", seen.hexdigest()[:12])
    return text.replace('["/*SHELL*/"]', json.dumps(shell))


@router.get("/certificate")
def device(request: Request) -> Response:
    """Show how a device takes in the shop's certificate, and what it gains."""
    bench = bench_of(request)
    try:
        found = (
            fingerprint(authority_file(bench.shop.folder / "tls")) if bench.access.secure else ""
        )
    except NotFound:
        found = ""
    return page(request, "certificate.html", fingerprint=found)


@router.get("/certificate/witnessmark.crt")
def certificate_file(request: Request) -> Response:
    """Return the certificate of the shop's authority. It is public; its key never leaves."""
    content = authority_file(bench_of(request).shop.folder / "tls")
    headers = {"content-disposition": 'attachment; filename="witnessmark.crt"'}
    return Response(content, media_type="application/x-x509-ca-cert", headers=headers)


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
