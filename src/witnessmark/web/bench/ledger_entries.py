"""Entries of the shop's ledger in one line each."""

from __future__ import annotations

from collections.abc import Callable

from witnessmark.model.entries.inspection_data import CertificateData, InspectionData
from witnessmark.model.entries.ledger_data import (
    ClockData,
    CloseData,
    DeclineData,
    InspectData,
    LabourData,
    VisitData,
)
from witnessmark.web.bench.page_words import number

__all__ = ["CLOSED", "RISKS", "clock_words", "inspection_words", "ledger_words"]

#: How a complaint was closed, in words.
CLOSED = {
    "proven": "proven gone", "repaired_not_proven": "repaired, not proven",
    "declined": "declined by the customer", "referred": "sent elsewhere", "not_found": "not found",
}  # fmt: skip
#: What it means to leave something undone, in words.
RISKS = {"do_not_drive": "do not drive", "soon": "soon", "watch": "watch it"}


def clock_words(data: ClockData, name: Callable[[str], str]) -> str:
    """Say in one line what a start or stop says."""
    job = f" {name(data.job)}" if data.job else ""
    verb = ("begins" if data.does == "start" else "stops") if data.of is None else "says when"
    said = {"start": " began", "stop": " ended"}[data.does] if data.of else ""
    where = f" (in case {data.elsewhere})" if data.elsewhere else ""
    beside = ", beside the other job" if data.both else ""
    return f"Clock: {data.person} {verb}{job}{said}{beside}{where}"


def ledger_words(data: VisitData | LabourData | InspectData | DeclineData | CloseData) -> str:
    """Say in one line what an entry of the ledger says."""
    match data:
        case VisitData():
            said = [
                f"{number(miles)} mi {way}"
                for miles, way in ((data.miles_in(), "in"), (data.miles_out(), "out"))
                if miles is not None
            ]
            said += [f"promised for {data.promised}"] if data.promised else []
            said += [f"limit ${data.limit_usd:,.0f}"] if data.limit_usd is not None else []
            return f"Visit: {', '.join(said) or 'in the shop'}"
        case LabourData():
            times = [f"{word} {at}" for word, at in (("from", data.start), ("to", data.stop)) if at]
            times += [f"{data.minutes:g} min"] if data.minutes is not None else []
            return f"Hours: {' '.join(times)}" + (f", {data.job}" if data.job else "")
        case InspectData():
            found = " ".join(p for p in ((data.result or "").replace("_", " "), data.value) if p)
            where = f", {data.place}" if data.place else ""
            return f"Inspected: {data.point.replace('_', ' ')}{where}: {found or 'looked at'}"
        case DeclineData():
            what = data.words or ", ".join(data.lines)
            return f"Declined: {what}" + (f" ({RISKS[data.risk]})" if data.risk else "")
        case CloseData():
            return f"Closed: {CLOSED[data.how]}" + (f", {data.why}" if data.why else "")


def inspection_words(data: InspectionData | CertificateData) -> str:
    """Say in one line what the head or the certificate of an inspection says."""
    if isinstance(data, CertificateData):
        return f"Certificate of the inspection signed by {data.inspector}"
    return f"Inspection of a {data.vehicle}" + (f" by {data.inspector}" if data.inspector else "")
