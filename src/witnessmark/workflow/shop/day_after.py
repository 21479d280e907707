"""The day after: whom to ask, what came back, and what a warranty claim needs."""

from __future__ import annotations

import json
import zipfile
from dataclasses import dataclass
from datetime import UTC, date, datetime
from io import BytesIO
from typing import Any

from witnessmark.errors import WitnessmarkError
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import (
    OutcomeData,
    PhotoData,
    ReadingData,
    TruckData,
    WorkData,
)
from witnessmark.workflow.case.photo import photo_bytes
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["ASK_AFTER", "CallDue", "calls_due", "calls_of_shop", "warranty_claim"]

#: Days after the last work at which the customer is asked (common practice, no source).
ASK_AFTER = (1, 7, 30)
#: A call is not asked for any more so many days later.
_TOO_LATE = 60
_MOST_CASES = 400
_ENDING = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp", "image/heic": "heic"}


@dataclass(frozen=True, slots=True)
class CallDue:
    """A word of the customer that is due.

    Attributes:
        case: case id.
        truck: its label.
        customer: who is asked, empty where not known.
        phone: the number, empty where not known.
        complaint: complaint entry id.
        words: the complaint.
        day: 1, 7 or 30.
        since: days since the last work.
    """

    case: str
    truck: str
    customer: str
    phone: str
    complaint: str
    words: str
    day: int
    since: int


def calls_due(case: Case, today: date) -> list[CallDue]:
    """Return the words that are due now: one a complaint, for the last of the days that is past.

    A word counts for a day when it was given at least so many days after the last work. A
    complaint whose last word was "not gone" is open, and is not asked about again.
    """
    works = [entry for entry, _ in case.of(WorkData)]
    if not works:
        return []
    done = _day(works[-1].at)
    since = (today - done).days
    past = [day for day in ASK_AFTER if day <= since]
    if not past or since > _TOO_LATE:
        return []
    truck = case.truck() or TruckData(label=case.id)
    due = []
    for entry, data in case.complaints():
        words = [(e, o) for e, o in case.of(OutcomeData) if o.complaint == entry.id]
        if words and words[-1][1].gone is not True:
            continue
        asked = [max(o.after_days or 0.0, float((_day(e.at) - done).days)) for e, o in words]
        if any(after >= past[-1] for after in asked):
            continue
        due.append(
            CallDue(
                case.id, truck.label, truck.customer or "", truck.phone or "", entry.id,
                data.words, past[-1], since,
            )
        )  # fmt: skip
    return due


def calls_of_shop(shop: Shop, today: date | None = None) -> list[CallDue]:
    """Return the words that are due in the whole shop, the longest waited for first."""
    now = today or datetime.now(UTC).date()
    found: list[CallDue] = []
    for summary in shop.list_cases()[:_MOST_CASES]:
        found += calls_due(shop.case(summary.id), now)
    return sorted(found, key=lambda call: (-call.day, -call.since, call.case))


def warranty_claim(shop: Shop, assessment: Dossier) -> bytes:
    """Return what a warranty claim needs as a ZIP: ``claim.json`` and the photos.

    Failure, hours, miles, parts with number and vendor, readings before and after, what is proven
    and what is not. Photos go without place and device data.
    """
    case = assessment.case
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        names: dict[str, str] = {}
        for entry, _ in case.of(PhotoData):
            try:
                content, kind = photo_bytes(shop, case.id, entry.id)
            except (WitnessmarkError, OSError):
                continue
            names[entry.id] = f"photo-{len(names) + 1}.{_ENDING[kind]}"
            _write(packed, names[entry.id], content)
        text = json.dumps(_claim(assessment, names), ensure_ascii=False, indent=1)
        _write(packed, "claim.json", text.encode())
    return out.getvalue()


def _claim(assessment: Dossier, photos: dict[str, str]) -> dict[str, Any]:
    case, stages = assessment.case, assessment.case.stages()
    truck = case.truck()
    verdicts = {p.complaint: p for p in assessment.proofs}
    return {
        "case": case.id,
        "truck": None if truck is None else {
            "label": truck.label, "vin": truck.vin, "unit": truck.unit,
            "engine_type": truck.engine.type, "miles_in": truck.miles,
            "miles_out": truck.miles_out, "engine_hours": truck.hours,
        },
        "failures": [
            {
                "complaint": data.words, "reported_at": entry.at,
                "proof": verdicts[entry.id].verdict if entry.id in verdicts else "not judged",
                "missing": list(verdicts[entry.id].missing) if entry.id in verdicts else [],
            }
            for entry, data in case.complaints()
        ],
        "work": [
            {
                "at": entry.at, "cause": data.cause, "did": data.did, "minutes": data.minutes,
                "parts": [part.model_dump(exclude_none=True) for part in data.parts],
            }
            for entry, data in case.of(WorkData)
        ],
        "readings": [
            {"at": entry.at, "after_work": stages[entry.id], "quantity": data.quantity,
             "value": data.value, "instrument": data.instrument.id if data.instrument else None}
            for entry, data in case.of(ReadingData)
        ],
        "photos": [
            {"file": photos[entry.id], "caption": data.caption, "at": entry.at}
            for entry, data in case.of(PhotoData) if entry.id in photos
        ],
    }  # fmt: skip


def _write(packed: zipfile.ZipFile, name: str, content: bytes) -> None:
    """Write a member whose bytes do not depend on the clock."""
    packed.writestr(zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0)), content)


def _day(at: str) -> date:
    return datetime.fromisoformat(at).date()
