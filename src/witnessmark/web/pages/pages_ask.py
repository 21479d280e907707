"""The customer's yes from afar: the page that asks, and the answer taken in."""

from __future__ import annotations

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, Response

from witnessmark.errors import InputRefused
from witnessmark.web.bench.state import bench_of, going_on, viewer_of
from witnessmark.web.door.posted import Posted, posted
from witnessmark.words.say import asked as say
from witnessmark.workflow.case.locks import customer_link
from witnessmark.workflow.papers.ask_customer import make_ask_page, page_for_link, take_answer
from witnessmark.workflow.papers.front_page import tongue_of

router = APIRouter(include_in_schema=False)

_LARGEST = 64 << 10
#: The page asks for nothing from elsewhere; it may post to where it came from, and runs no script.
_ASK_CSP = (
    "default-src 'none'; style-src 'unsafe-inline'; form-action 'self'; frame-ancestors 'none'; "
    "base-uri 'none'"
)


@router.post("/cases/{case_id}/ask")
async def ask(request: Request, case_id: str) -> Response:
    """Make the page that asks the customer for a yes, as a file to send."""
    form = await posted(request)
    bench, by = bench_of(request), viewer_of(request).name or None
    days = form.one("days") or "14"
    if not (days.isascii() and days.isdecimal() and len(days) < 4):
        raise InputRefused(f"'{days[:20]}' is not a number of days.", where="days")
    html, _ = await run_in_threadpool(
        lambda: make_ask_page(
            bench.shop, case_id, days=int(days), by=by, language=form.one("language")[:2]
        )
    )
    kept = "".join(c if c.isascii() and (c.isalnum() or c in "._-") else "_" for c in case_id)
    headers = {"content-disposition": f'attachment; filename="estimate-{kept}.html"'}
    return Response(html, media_type="text/html", headers=headers)


@router.post("/cases/{case_id}/customer-answer")
async def answer(request: Request, case_id: str) -> Response:
    """Take in the file that the customer's page saved."""
    form = await posted(request, files=1)
    bench, by = bench_of(request), viewer_of(request).name or None
    files = form.files.get("answer", [])
    if not files or files[0].size > _LARGEST:
        raise InputRefused("No answer came with the form.", do="Choose the file the page saved.")
    content = files[0].stream.read(_LARGEST + 1)
    await run_in_threadpool(lambda: take_answer(bench.shop, case_id, content, by=by))
    return going_on(request, f"/cases/{case_id}#paper")


@router.get("/c/{token}/estimate")
def shown(request: Request, token: str) -> Response:
    """Show the customer the estimate behind his link, to accept or decline line by line."""
    shop = bench_of(request).shop
    html = page_for_link(shop, customer_link(shop, token), f"/c/{token}/estimate")
    return HTMLResponse(html, headers={"content-security-policy": _ASK_CSP})


@router.post("/c/{token}/estimate")
async def answered(request: Request, token: str) -> Response:
    """Take in the answer of a customer's link."""
    form = await posted(request)
    shop = bench_of(request).shop

    def work() -> str:
        link = customer_link(shop, token)
        take_answer(shop, link.case_id, _fields(form), how="our page, by its link",
                    by="the customer's link")  # fmt: skip
        return tongue_of(shop.case(link.case_id)).say(say.taken)

    said = await run_in_threadpool(work)
    text = f"<!doctype html><meta charset=utf-8><title>{said}</title><h1>{said}</h1>"
    return HTMLResponse(text, headers={"content-security-policy": _ASK_CSP})


def _fields(form: Posted) -> dict[str, object]:
    lines = [
        {"line": int(name[5:]), "granted": form.one(name) == "yes"}
        for name in form.fields
        if name.startswith("line_") and name[5:].isdecimal() and len(name) < 9
        and form.one(name) in {"yes", "no"}
    ]  # fmt: skip
    told = {name: form.one(name) for name in ("witnessmark", "case", "quote", "page", "name",
                                              "words")}  # fmt: skip
    return {**told, "lines": lines}
