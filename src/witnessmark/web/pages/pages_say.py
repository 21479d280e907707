"""Say it in a line: one field, the cards that it means, and one tap that takes them."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import Response

from witnessmark.errors import InputRefused, WitnessmarkError, http_status
from witnessmark.model.entries.case import Case
from witnessmark.units import QUANTITIES, parse_range
from witnessmark.web.bench.from_device import at_of, stored
from witnessmark.web.bench.state import ServerState, bench_of, by_of, page
from witnessmark.web.door.posted import Posted, posted
from witnessmark.words.say.waited import line_read
from witnessmark.workflow.case.entered_twice import lines_to_read
from witnessmark.workflow.saying.cards import Card, Meaning
from witnessmark.workflow.saying.take import (
    as_entry,
    card_words,
    entries_to_take_back,
    kept_words,
    meaning_in_case,
    retracted_entry,
    store,
)

router = APIRouter(include_in_schema=False)

#: A form holds at most so many cards; a line has fewer.
_MOST_CARDS = 30
#: A bound alone is no figure; it is kept in words.
_BOUND = re.compile(r"\s*[<>]")


@router.get("/cases/{case_id}/say")
def say(request: Request, case_id: str, line: str = "", of: str = "") -> Response:
    """Show what a line means in this case; nothing is stored yet."""
    bench = bench_of(request)
    if not line.strip():
        case = bench.desk.case(case_id)
        return page(request, "say.html", case=case, label=_label(case), line="")
    meaning = meaning_in_case(bench.shop, case_id, line[:4000])
    return _cards_page(request, case_id, meaning, meaning.left, None, of=of[:80])


@router.post("/cases/{case_id}/say")
async def take(request: Request, case_id: str) -> Response:
    """Store the cards that were taken, as they stand in the form."""
    form = await posted(request)
    bench, by = bench_of(request), by_of(request)
    try:
        await run_in_threadpool(_take, bench, case_id, form, by, at_of(request))
    except WitnessmarkError as refused:
        if "x-witnessmark" in request.headers:
            raise
        error = refused
        cards = tuple(_card(form, n, strict=False) for n in _numbers(form))
        meaning = Meaning(form.one("line"), cards)
        return await run_in_threadpool(
            lambda: _cards_page(request, case_id, meaning, form.one("note"), error, form)
        )
    return await stored(request, case_id, f"/cases/{case_id}")


def _take(bench: ServerState, case_id: str, form: Posted, by: str | None, at: str | None) -> None:
    cards = [_card(form, n, strict=form.one(f"c{n}.take") == "yes") for n in _numbers(form)]
    taken = [c for n, c in zip(_numbers(form), cards, strict=True) if form.one(f"c{n}.take")]
    untaken = [c.said for c in cards if c not in taken]
    note = kept_words(form.one("line"), form.one("note"), untaken)
    if not taken and not note:
        raise InputRefused("Nothing was chosen.", do="Choose a card, or write a note.")
    base = form.one("entry_id")
    store(bench.shop, case_id, taken, note, by=by, base=base, at=at)
    waited = form.one("of")
    if waited and any(i == waited for i, _ in lines_to_read(bench.desk.case(case_id))):
        # The line that came in words is what the entries now say.
        data = {"entry": waited, "why": line_read()}
        bench.shop.add(case_id, "retract", data, by=by, entry_id=f"{base[:60]}.read")


def _numbers(form: Posted) -> range:
    count = form.one("count")
    most = int(count) if count.isdecimal() else 0
    return range(1, min(most, _MOST_CARDS) + 1)


def _card(form: Posted, number: int, *, strict: bool) -> Card:
    """Return one card as it stands in the form.

    Raises:
        InputRefused: a field cannot be read, where *strict*.
        UnitRefused: the value of a reading is none.
    """

    def field(name: str) -> str:
        return form.one(f"c{number}.{name}")

    try:
        held = json.loads(field("data") or "{}")
    except ValueError:
        held = {}
    data: dict[str, Any] = dict(held) if isinstance(held, dict) else {}
    kind = field("kind") or "note"
    editor = _EDITORS.get(kind)
    if editor is not None:
        editor(data, field, strict)
    return Card(kind, data, field("said"))


def _reading(data: dict[str, Any], field: Any, strict: bool) -> None:
    data["quantity"], data["value"] = field("quantity"), field("value")
    point: dict[str, Any] = {}
    if field("engine"):
        point["engine"] = field("engine")
    if field("rpm"):
        digits = field("rpm").replace(",", "").replace(" ", "")
        if not re.fullmatch(r"\d{1,5}(\.\d+)?", digits):
            if strict:
                raise InputRefused("The speed is no number.", where="rpm", do="Write it in rpm.")
        else:
            point["rpm"] = float(digits)
    load = field("load")
    if load:
        point["load"] = f"{load} %" if re.fullmatch(r"[\d.,]+", load) else load
    if field("warm"):
        point["warm"] = field("warm") == "yes"
    data.pop("point", None)
    if point:
        data["point"] = point
    if strict and not _BOUND.match(data["value"]):
        parse_range(data["quantity"], data["value"])


def _test(data: dict[str, Any], field: Any, _: bool) -> None:
    data["result"] = field("result") or data.get("result", "")


def _clue(data: dict[str, Any], field: Any, _: bool) -> None:
    data["seen"] = {"yes": True, "no": False}.get(field("seen"), "maybe")


def _code(data: dict[str, Any], field: Any, strict: bool) -> None:
    for name in ("spn", "fmi", "count", "source"):
        data.pop(name, None)
        if field(name):
            if field(name).isdecimal():
                data[name] = int(field(name))
            elif strict:
                raise InputRefused(f"{name}: a whole number is needed.", where=name)
    data.pop("active", None)
    if field("active"):
        data["active"] = field("active") == "yes"
    if strict and not {"spn", "fmi"} <= set(data):
        raise InputRefused("A code has an SPN and an FMI.", where="code", do="Write both.")


def _work(data: dict[str, Any], field: Any, strict: bool) -> None:
    data["did"] = field("did") or data.get("did", "")
    data.pop("minutes", None)
    if field("minutes"):
        if field("minutes").replace(".", "", 1).isdecimal():
            data["minutes"] = float(field("minutes"))
        elif strict:
            raise InputRefused("The minutes are no number.", where="minutes")


def _outcome(data: dict[str, Any], field: Any, _: bool) -> None:
    data["gone"] = {"yes": True, "no": False}.get(field("gone"), "partly")
    if field("complaint"):
        data["complaint"] = field("complaint")


def _retract(data: dict[str, Any], field: Any, strict: bool) -> None:
    data["entry"], data["why"] = field("entry"), field("why")
    if strict and not data["entry"]:
        raise InputRefused("No entry was chosen.", where="entry", do="Choose what is taken back.")


_EDITORS = {
    "reading": _reading, "test": _test, "clue": _clue, "code": _code, "work": _work,
    "outcome": _outcome, "retract": _retract,
}  # fmt: skip


def _label(case: Case) -> str:
    truck = case.truck()
    return truck.label if truck else case.id


def _cards_page(
    request: Request,
    case_id: str,
    meaning: Meaning,
    note: str,
    error: WitnessmarkError | None,
    form: Posted | None = None,
    of: str = "",
) -> Response:
    bench = bench_of(request)
    case, knowledge = bench.desk.case(case_id), bench.knowledge()
    rows = []
    for number, card in enumerate(meaning.cards, 1):
        taken = form.one(f"c{number}.take") == "yes" if form is not None else card.sure
        kind, _ = as_entry(card, case, knowledge)
        data: Mapping[str, Any] = card.data
        rpm = data.get("point", {}).get("rpm") if card.kind == "reading" else None
        rows.append({
            "number": number, "card": card, "words": card_words(card, knowledge), "taken": taken,
            "as_note": kind == "note" and card.kind not in {"note", "retract"},
            "rpm": form.one(f"c{number}.rpm") if form is not None else rpm,
            "held": json.dumps(dict(data), ensure_ascii=False),
            "results": _results(bench, str(data.get("test", ""))) if card.kind == "test" else [],
            "entry": retracted_entry(case, str(data.get("entry", "")))
            if card.kind == "retract" else "",
        })  # fmt: skip
    return page(
        request,
        "said.html",
        http_status(error) if error else 200,
        case=case,
        label=_label(case),
        meaning=meaning,
        rows=rows,
        note=note,
        error=error,
        of=form.one("of") if form is not None else of,
        sent=form.one("entry_id") if form is not None else "",
        draft=hashlib.sha256(meaning.line.encode()).hexdigest()[:10],
        quantities=sorted(
            (q for q in QUANTITIES.values() if q.kind != "state"), key=lambda q: q.words
        ),
        live=entries_to_take_back(case, knowledge),
        complaints=case.complaints(),
    )


def _results(bench: ServerState, test: str) -> list[tuple[str, str]]:
    row = bench.knowledge().test(test)
    if row is None:
        return []
    plain = {"positive": "yes, bad", "negative": "no, good", "maybe": "not clear"}
    ids = dict.fromkeys(("positive", "negative", "maybe", *row.outcomes))
    return [(o, row.outcome_words.get(o) or plain.get(o) or o.replace("_", " ")) for o in ids]
