"""What both doors ask for: the inspection of a case as it stands, its head, and its signature."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, date, datetime
from typing import Any

from witnessmark.analyses.inspecting.certificate_check import covered, inspection_sheet
from witnessmark.analyses.inspecting.inspection_sheet import head_of
from witnessmark.errors import Forbidden, InputRefused, NotFound
from witnessmark.knowledge.inspecting.inspection_lists import InspectionList, load_inspection
from witnessmark.knowledge.inspecting.inspection_parts import PointPart
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.inspection import InspectionSheet
from witnessmark.model.step import Step
from witnessmark.words.say import inspection as say
from witnessmark.workflow.case.locks import same_name
from witnessmark.workflow.case.packs_of_shop import knowledge_of
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop

__all__ = [
    "begin",
    "combination",
    "head_of",
    "listing_of",
    "must_sign_himself",
    "point_of",
    "repaired",
    "sheet_json",
    "sheet_now",
    "sheet_of",
    "sign",
]


def listing_of(shop: Shop) -> InspectionList:
    """Return the points, with what the shop's own files in ``inspection/`` say on top."""
    return load_inspection(tuple(sorted((shop.folder / "inspection").glob("*.toml"))))


def sheet_of(shop: Shop, case: Case, stops: Sequence[Step] = ()) -> InspectionSheet:
    """Return the inspection of a case, with the stops that are known to stand."""
    return inspection_sheet(case, listing_of(shop), knowledge_of(shop, case), stops)


def sheet_now(shop: Shop, case_id: str) -> InspectionSheet:
    """Return the inspection of a case with the stops that stand now."""
    found = assess_in_shop(shop, case_id)
    return sheet_of(shop, found.case, found.stops)


def sheet_json(sheet: InspectionSheet) -> dict[str, Any]:
    """Return a sheet as JSON types, for the command and the interface alike."""
    rows = asdict(sheet)
    for row, point in zip(rows["points"], sheet.points, strict=True):
        row["open"] = point.is_open
    return rows | {"may_be_signed": not sheet.withheld}


def point_of(shop: Shop, identity: str, case_id: str | None = None) -> PointPart:
    """Return a point of the list; of the vehicle of a case whose inspection is begun.

    Raises:
        NotFound: the list, or the vehicle, has none of this id.
    """
    listing = listing_of(shop)
    found = listing.point(identity)
    head = head_of(shop.case(case_id)) if case_id is not None else None
    if found is not None and head is not None:
        mine = listing.points_for(head.vehicle, head.brake_kind)
        if all(p.id != identity for p in mine):
            raise NotFound(
                say.not_of_vehicle(identity[:60], head.vehicle),
                do="'witnessmark inspect show' lists those that it has.",
            )
    if found is None:
        raise NotFound(
            f"The inspection has no point '{identity[:60]}'.",
            do="'witnessmark inspect show' lists them.",
        )
    return found


def begin(
    shop: Shop,
    case_id: str,
    data: Mapping[str, Any],
    *,
    by: str | None = None,
    entry_id: str | None = None,
    at: str | None = None,
) -> Entry:
    """Write the head of the inspection: which vehicle, and who may inspect it.

    Raises:
        InputRefused: an ability that the list does not know.
    """
    listing = listing_of(shop).file
    for field, known in (("qualified", listing.qualified),
                         ("brake_qualified", listing.brake_qualified)):  # fmt: skip
        named = data.get(field)
        if named is not None and all(q.id != named for q in known):
            raise InputRefused(
                f"'{str(named)[:60]}' is none of what an ability may rest on.",
                where=field,
                do=f"Use one of {', '.join(q.id for q in known)}.",
            )
    return shop.add(case_id, "inspection", data, by=by, entry_id=entry_id, at=at)


def repaired(
    shop: Shop,
    case_id: str,
    point: str,
    did: str,
    *,
    cause: str | None = None,
    minutes: float | None = None,
    by: str | None = None,
    entry_id: str | None = None,
    at: str | None = None,
) -> Entry:
    """Write down the work on a point. It passes again only when it is looked at again.

    Raises:
        NotFound: no such case, or no point of its vehicle.
        InputRefused: nothing was done, or the minutes are no number.
    """
    point_of(shop, point, case_id)
    if not did.strip():
        raise InputRefused("Say what was done.", where="did")
    if minutes is not None and not math.isfinite(minutes):
        raise InputRefused("The minutes are not a number.", where="minutes", do="Such as 45.")
    data: dict[str, Any] = {"did": did, "points": [point]}
    data |= {k: v for k, v in (("cause", cause), ("minutes", minutes)) if v is not None}
    return shop.add(case_id, "work", data, by=by, entry_id=entry_id, at=at)


def sign(
    shop: Shop,
    case_id: str,
    data: Mapping[str, Any],
    sheet: InspectionSheet,
    *,
    by: str | None = None,
    entry_id: str | None = None,
    at: str | None = None,
) -> Entry:
    """Sign the certificate.

    Args:
        shop: the shop.
        case_id: case id.
        data: the inspector, who answers for the brakes, and that the report is accurate.
        sheet: the inspection as it stands now, with the stops.
        by: who is signed in.
        entry_id: an id that a second sending makes again.
        at: when it was signed.

    Raises:
        InputRefused: something is open, or another signs than the inspector.
        Forbidden: another is signed in than the inspector.
    """
    if entry_id is not None and any(e.id == entry_id for e in shop.case(case_id).entries):
        return shop.add(case_id, "certificate", data, by=by, entry_id=entry_id, at=at)
    if sheet.withheld:
        raise InputRefused(
            "No certificate: " + " ".join(w.what for w in sheet.withheld[:12]),
            where="certificate",
            do=" ".join(dict.fromkeys(w.do for w in sheet.withheld[:12] if w.do)),
        )
    if data.get("accurate") is not True:
        raise InputRefused(
            "The signer has not said that the report is accurate and complete.",
            where="accurate",
            do="Say so, or do not sign.",
        )
    named = dict(sheet.head)
    for field, row in (("inspector", "Inspector (396.19)"),
                       ("brake_inspector", "Brake inspector (396.25)")):  # fmt: skip
        signed = str(data.get(field) or "").strip()
        if field == "inspector" and not signed:
            raise InputRefused("Nobody signs.", where=field, do="The inspector signs.")
        if signed and signed != named.get(row):
            raise InputRefused(say.unlike(signed, named.get(row, "")), where=field)
    must_sign_himself(by, data)
    if at is not None and datetime.fromisoformat(at) > datetime.now(UTC):
        raise InputRefused("The certificate would be of a day to come.", where="at")
    return shop.add(case_id, "certificate", data, by=by, entry_id=entry_id, at=at)


def must_sign_himself(by: str | None, data: Mapping[str, Any]) -> None:
    """Refuse that somebody who is signed in signs with another's name.

    Args:
        by: who is signed in; ``None`` where nobody is, on this machine alone.
        data: the certificate.

    Raises:
        Forbidden: another is signed in than the inspector.
    """
    signed = data.get("inspector")
    if by and isinstance(signed, str) and not same_name(by, signed):
        raise Forbidden(say.signs_himself(signed.strip()[:80], by), do="Let the inspector sign in.")


def combination(shop: Shop, case_ids: Sequence[str], today: date) -> dict[str, Any]:
    """Return whether the vehicles of a combination are covered, each by its own inspection."""
    listing = listing_of(shop)
    rows: list[tuple[str, date | None]] = []
    seen: list[dict[str, str]] = []
    for case_id in case_ids:
        case = shop.case(case_id)
        certificate = sheet_of(shop, case).certificate
        truck = case.truck()
        name = truck.label if truck is not None else case_id
        stands = certificate is not None and certificate.stands
        day = date.fromisoformat(certificate.on) if certificate is not None and stands else None
        rows.append((name, day))
        due = certificate.due if certificate is not None and stands else ""
        seen.append({"case": case_id, "vehicle": name, "passed": str(day or ""), "due": due})
    late = covered(rows, today, listing.months("valid"))
    return {"vehicles": seen, "not_covered": late, "said": say.covered(late)}
