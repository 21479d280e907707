"""Recordings: taking them in, in pieces or with a form, and looking at their traces."""

from __future__ import annotations

import gzip
import json
import math
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.responses import JSONResponse, Response

from witnessmark.errors import InputRefused, NotFound
from witnessmark.model.entries.entry_data import RecordingData
from witnessmark.model.recording import Quality, Recording
from witnessmark.units import QUANTITIES, UNITS, display_unit, spoken
from witnessmark.web.bench.page_words import symbol_words
from witnessmark.web.bench.state import bench_of, by_of, going_on, page, viewer_of
from witnessmark.web.door.posted import posted
from witnessmark.workflow.case import uploads
from witnessmark.workflow.case.shop_settings import shows_si
from witnessmark.workflow.recordings.trace_svg import trace_svg
from witnessmark.workflow.recordings.trace_window import (
    MOST_CHANNELS,
    Window,
    WindowTrace,
    span_of,
    window,
)
from witnessmark.workflow.recordings.traces import (
    recording_entry,
    recording_of,
    steady_of,
    usual_channels,
)

router = APIRouter(include_in_schema=False)

_HOLDS = ("bus", "table", "vibration", "waveform", "tooth_timing", "sound")


@router.get("/cases/{case_id}/recording")
def add(request: Request, case_id: str) -> Response:
    """Show the form for a recording."""
    case = bench_of(request).desk.case(case_id)
    truck = case.truck()
    return page(request, "recording.html", case=case, label=truck.label if truck else case.id)


@router.post("/cases/{case_id}/recording")
async def store(request: Request, case_id: str) -> Response:
    """Store a recording that came with a form."""
    form = await posted(request, files=1)
    files = form.files.get("file", [])
    if not files:
        raise InputRefused("No file came with the form.", do="Choose the recording.")
    bench, by = bench_of(request), by_of(request)

    def work() -> str:
        bench.shop.casebook.count(case_id)
        sha256 = bench.shop.store_file(files[0].stream, files[0].name)
        data = _data(files[0].name, sha256, form.one("holds"))
        entry_id = form.one("entry_id") or None
        return bench.shop.add(case_id, "recording", data, by=by, entry_id=entry_id).id

    entry_id = await run_in_threadpool(work)
    return going_on(request, f"/cases/{case_id}/recordings/{entry_id}")


@router.post("/uploads")
async def begin(request: Request) -> Response:
    """Start an upload in pieces."""
    asked = await _json(request)
    shop = bench_of(request).shop
    size = asked.get("size")
    if not isinstance(size, int) or isinstance(size, bool):
        raise InputRefused("size: the number of bytes is needed.")
    made = await run_in_threadpool(
        partial(uploads.begin, by=viewer_of(request).name),
        shop,
        str(asked.get("case", "")),
        str(asked.get("name", "")),
        size,
    )
    return JSONResponse(_state(made), 201)


@router.get("/uploads/{upload_id}")
def state(request: Request, upload_id: str) -> Response:
    """Say how far an upload is."""
    return JSONResponse(_state(uploads.state(bench_of(request).shop, upload_id)))


@router.put("/uploads/{upload_id}")
async def piece(request: Request, upload_id: str, offset: int) -> Response:
    """Take a piece."""
    content = await request.body()
    found = await run_in_threadpool(
        uploads.take_piece, bench_of(request).shop, upload_id, offset, content
    )
    return JSONResponse(_state(found))


@router.post("/uploads/{upload_id}/finish")
async def finish(request: Request, upload_id: str) -> Response:
    """Check the whole file and enter it; asked again, it answers the same."""
    asked = await _json(request)
    bench, by = bench_of(request), by_of(request)
    case_id, entry_id = str(asked.get("case", "")), str(asked.get("entry_id", "")) or None

    def work() -> str:
        try:
            upload, sha256 = uploads.finish(bench.shop, upload_id, str(asked.get("sha256", "")))
        except NotFound:
            known = {e.id for e in bench.shop.case(case_id).entries}
            if entry_id in known:
                return f"/cases/{case_id}/recordings/{entry_id}"
            raise
        data = _data(upload.name, sha256, str(asked.get("holds", "")))
        made = bench.shop.add(upload.case, "recording", data, by=by, entry_id=entry_id)
        return f"/cases/{upload.case}/recordings/{made.id}"

    return JSONResponse({"next": await run_in_threadpool(work)})


@router.delete("/uploads/{upload_id}")
def cancel(request: Request, upload_id: str) -> Response:
    """Throw an upload away."""
    uploads.cancel(bench_of(request).shop, upload_id)
    return JSONResponse({"done": True})


@router.get("/cases/{case_id}/recordings/{entry_id}")
def look(request: Request, case_id: str, entry_id: str) -> Response:
    """Show what is in a recording, with its traces."""
    bench = bench_of(request)
    recording = recording_of(bench.shop, case_id, entry_id)
    case = bench.desk.case(case_id)
    truck = case.truck()
    query = request.query_params
    chosen = _channels(request, recording) or usual_channels(recording)
    first, last = span_of(recording)
    start = min(max(_time(query.get("from")) or first, first), last)
    end = min(max(_time(query.get("to")) or last, first), last)
    if end <= start:
        start, end = first, last
    others = [
        (e.id, d.path.rsplit("/", 1)[-1])
        for e, d in case.of(RecordingData)
        if e.id != entry_id and (d.sha256 or e.id in bench.shop.casebook.attachments(case_id))
    ]
    other = query.get("other", "")
    base = f"/cases/{case_id}/recordings/{entry_id}"
    return page(
        request,
        "trace.html",
        case=case,
        label=truck.label if truck else case.id,
        recording=recording,
        entry=recording_entry(bench.shop, case_id, entry_id),
        channels=_channel_rows(recording, shows_si(bench.shop)),
        chosen=chosen,
        most=MOST_CHANNELS,
        first=first,
        last=last,
        start=start,
        end=end,
        steady=steady_of(recording),
        others=others,
        other=other if other in {o for o, _ in others} else "",
        shift=_time(query.get("shift")) or 0.0,
        base=base,
        link=lambda a, b: _link(base, chosen, a, b, other, query.get("shift", "")),
    )


@router.get("/cases/{case_id}/recordings/{entry_id}/window")
def cut(request: Request, case_id: str, entry_id: str) -> Response:
    """Return the extremes of every pixel column of a window, for the page's own script."""
    bench = bench_of(request)
    recording = recording_of(bench.shop, case_id, entry_id)
    query = request.query_params
    if query.get("by") == "name":
        names = query.get("names", "").split(",")
        found = [i for n in names for i in _named(recording, n)][:MOST_CHANNELS]
    else:
        found = _channels(request, recording)
    shown = window(
        recording,
        found,
        start_s=_time(query.get("from")),
        end_s=_time(query.get("to")),
        columns=int(_time(query.get("w")) or 800),
        steady=steady_of(recording),
    )
    content = json.dumps(_window(shown, shows_si(bench.shop)), separators=(",", ":")).encode()
    headers = {"cache-control": "private, no-cache", "vary": "accept-encoding"}
    if "gzip" in request.headers.get("accept-encoding", ""):
        content, headers["content-encoding"] = gzip.compress(content, 3), "gzip"
    return Response(content, media_type="application/json", headers=headers)


@router.get("/cases/{case_id}/recordings/{entry_id}/trace.svg")
def still(request: Request, case_id: str, entry_id: str) -> Response:
    """Return the traces as a picture, for pages without script and for print."""
    bench = bench_of(request)
    recording = recording_of(bench.shop, case_id, entry_id)
    query = request.query_params
    shown = window(
        recording,
        _channels(request, recording),
        start_s=_time(query.get("from")),
        end_s=_time(query.get("to")),
        columns=700,
        steady=steady_of(recording),
    )
    scales = [_scale(t, shows_si(bench.shop)) for t in shown.traces]
    return Response(trace_svg(shown, scales), media_type="image/svg+xml")


async def _json(request: Request) -> dict[str, Any]:
    try:
        found = await request.json()
    except (ValueError, RecursionError):
        raise InputRefused("The request is not JSON.") from None
    if not isinstance(found, dict):
        raise InputRefused("An object is needed.")
    return found


def _state(upload: uploads.Upload) -> dict[str, Any]:
    return {"id": upload.id, "received": upload.received, "size": upload.size}


def _data(name: str, sha256: str, holds: str) -> dict[str, Any]:
    data = {"path": name, "sha256": sha256}
    return data | {"holds": holds} if holds in _HOLDS else data


def _channels(request: Request, recording: Recording) -> list[int]:
    asked = request.query_params.getlist("c")
    numbers = [int(text) for text in asked if text.isascii() and text.isdecimal() and len(text) < 6]
    found = [n for n in numbers if n < len(recording.channels)]
    return list(dict.fromkeys(found))[:MOST_CHANNELS]


def _named(recording: Recording, name: str) -> list[int]:
    rows = [i for i, c in enumerate(recording.channels) if c.name == name]
    best = recording.channel(name)
    return [i for i in rows if recording.channels[i] is best]


def _time(text: str | None) -> float | None:
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _link(base: str, chosen: list[int], a: float, b: float, other: str, shift: str) -> str:
    rest = f"&other={other}&shift={shift}" if other else ""
    return f"{base}?" + "&".join(f"c={c}" for c in chosen) + f"&from={a:g}&to={b:g}{rest}"


def _scale(trace: WindowTrace, si: bool) -> tuple[float, float, str]:
    """Return (factor, offset, unit) from the channel's unit to the one that is shown."""
    row = QUANTITIES.get(trace.name)
    if row is None or row.house != trace.unit:
        return 1.0, 0.0, symbol_words(trace.unit)
    house, shown = UNITS[row.house], UNITS[display_unit(trace.name, si=si)]
    factor = house.factor / shown.factor
    return factor, (house.offset - shown.offset) / shown.factor, symbol_words(shown.symbol)


def _window(shown: Window, si: bool) -> dict[str, Any]:
    return {
        "start": shown.start_s,
        "end": shown.end_s,
        "traces": [_trace(t, si) for t in shown.traces],
        "flags": [
            {"channel": f.channel, "start_s": f.start_s, "end_s": f.end_s, "note": f.note}
            for f in shown.flags
        ],
        "steady": [
            {"start_s": s.start_s, "end_s": s.end_s, "rpm": s.rpm, "name": s.name}
            for s in shown.steady
        ],
    }


def _trace(trace: WindowTrace, si: bool) -> dict[str, Any]:
    factor, offset, unit = _scale(trace, si)
    found: dict[str, Any] = {
        "name": trace.name,
        "label": _spoken(trace),
        "unit": unit,
        "samples": trace.samples,
        "lo": _figures(trace.low * factor + offset),
        "hi": _figures(trace.high * factor + offset),
    }
    ends = sorted((trace.lowest * factor + offset, trace.highest * factor + offset))
    found["lowest"], found["highest"] = (e if math.isfinite(e) else None for e in ends)
    even = trace.time_s.size > 2 and np.allclose(
        np.diff(trace.time_s), trace.time_s[1] - trace.time_s[0]
    )
    if even:
        found["t0"], found["dt"] = float(trace.time_s[0]), float(trace.time_s[1] - trace.time_s[0])
    else:
        found["t"] = [round(float(t), 6) for t in trace.time_s]
    return found


def _spoken(trace: WindowTrace) -> str:
    """A signal that we know is called by its name, any other as the file calls it."""
    return spoken(trace.name if trace.name in QUANTITIES else trace.label)


def _figures(values: npt.NDArray[np.float64]) -> list[float | None]:
    return [None if math.isnan(v) else float(f"{v:.5g}") for v in values.tolist()]


def _channel_rows(recording: Recording, si: bool) -> list[dict[str, Any]]:
    rows = []
    for i, channel in enumerate(recording.channels):
        valid = channel.values[channel.valid()]
        row = QUANTITIES.get(channel.name)
        unit = channel.unit
        low = high = math.nan
        if valid.size:
            low, high = float(valid.min()), float(valid.max())
        if row is not None and row.house == unit:
            house, shown = UNITS[row.house], UNITS[display_unit(channel.name, si=si)]
            low, high = (
                (v * house.factor + house.offset - shown.offset) / shown.factor for v in (low, high)
            )
            unit = shown.symbol
        rows.append(
            {
                "i": i,
                "name": (spoken(row.name) if row else channel.label or channel.name)
                + (f" (bus {channel.bus})" if channel.bus else ""),
                "source": channel.source,
                "unit": symbol_words(unit),
                "low": low,
                "high": high,
                "valid": int(valid.size),
                "samples": int(channel.values.size),
                "errors": channel.count(Quality.ERROR),
                "missing": channel.count(Quality.NOT_AVAILABLE),
            }
        )
    return rows
