"""The report of a periodic inspection (49 CFR 396.21), and the customer's copy in plain words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry_data import WorkData
from witnessmark.model.inspection import InspectionSheet, PlaceState, PointState
from witnessmark.report.paper import Block, Heading, Items, Lines, Paper, Said, TableBlock
from witnessmark.words.say import inspection as say

__all__ = ["customer_inspection", "inspection_report"]

_HEAD = ("Point", "Section", "Result", "Read, with what, limit")
_OPEN = ("fails", "worked", "too_close")


def inspection_report(
    sheet: InspectionSheet, case: Case, *, shop: str = "", head: Sequence[str] = ()
) -> Paper:
    """Return the report: every point, what was read, what is open, the certificate if it stands.

    Args:
        sheet: the inspection.
        case: its entries, for the work on its points.
        shop: the shop's name.
        head: its address, phone and licence.
    """
    certificate = sheet.certificate
    stands = certificate is not None and certificate.stands
    title = "Periodic inspection report" if stands else "Inspection, not finished"
    return Paper(title, shop, _facts(case), tuple(_report(sheet, case)), head=tuple(head))


def customer_inspection(
    sheet: InspectionSheet, case: Case, *, shop: str = "", head: Sequence[str] = ()
) -> Paper:
    """Return the customer's copy: whether it passed, what must be put right, in plain words."""
    blocks = tuple(_customer(sheet, case))
    return Paper("Your yearly inspection", shop, _facts(case), blocks, head=tuple(head))


def _facts(case: Case) -> tuple[tuple[str, str], ...]:
    truck = case.truck()
    if truck is None:
        return (("Case", case.id),)
    rows = [("Truck", truck.label), ("VIN", truck.vin), ("Plate", truck.plate),
            ("Unit", truck.unit), ("Customer", truck.customer), ("Case", case.id)]  # fmt: skip
    return tuple((name, value) for name, value in rows if value)


def _report(sheet: InspectionSheet, case: Case) -> Iterator[Block]:
    certificate = sheet.certificate
    if certificate is not None and certificate.stands:
        yield Said(
            f"Passed on {certificate.on}. {say.certify()} Signed by {certificate.inspector}"
            + (f", brakes {certificate.brake_inspector}" if certificate.brake_inspector else "")
            + ".",
            "verdict",
        )
        yield Said(sheet.record)
    else:
        yield Said(say.no_certificate(), "verdict")
        why = [f"{w.what} {w.do}".strip() for w in sheet.kept_back()]
        why += [say.not_looked_at(sheet.not_looked())] if sheet.not_looked() else []
        why += [w for w in (certificate.why_not if certificate else ()) if w not in why]
        yield Items(tuple(dict.fromkeys(why)) or (say.whole(),))
    yield Said(sheet.defer, "small")
    yield Heading("Who and what")
    yield TableBlock(("What", "Told"), sheet.head)
    for station, name, _ in sheet.stations:
        points = [p for p in sheet.points if p.station == station]
        if points:
            yield Heading(name, 2)
            yield TableBlock(_HEAD, tuple(_row(p) for p in points))
    names = {p.id: p.name for p in sheet.points}
    done = tuple(
        f"{', '.join(names.get(p, p) for p in d.points)}: {d.did} ({e.at[:10]})"
        for e, d in case.of(WorkData)
        if d.points
    )
    if done:
        yield Heading("Put right at this inspection", 2)
        yield Items(done)
    dangers = tuple(f"{p.name}: {p.danger}" for p in sheet.points if p.danger)
    if dangers:
        yield Heading("Not safe to drive", 2)
        yield from (Said(words, "caution") for words in dangers)
    yield Lines(("Inspector, date", "For the carrier, date"))


def _row(point: PointState) -> tuple[str, ...]:
    said = point.said + (", not required" if point.optional else "")
    read: dict[str, list[str]] = {}  # what was read -> the places where it was read
    for place in point.places:
        if place.entry and (place.value or place.fault):
            read.setdefault(_read(place), []).append(place.words)
    told = [": ".join(w for w in (", ".join(filter(None, at)), words) if w)
            for words, at in read.items()]  # fmt: skip
    return (point.name, point.section, said, "; ".join(told))


def _read(place: PlaceState) -> str:
    if not place.value:
        return place.fault
    gauge = f", {place.gauge or 'instrument'} ±{place.error}" if place.error else ""
    limits = " / ".join(f"{s.words.split(',')[0]} ({s.verdict.replace('_', ' ')})"
                        for s in place.limits)  # fmt: skip
    return f"{place.value}{gauge}" + (f": {limits}" if limits else "")


def _customer(sheet: InspectionSheet, case: Case) -> Iterator[Block]:
    certificate = sheet.certificate
    bad = [p for p in sheet.points if p.state in _OPEN]
    if certificate is not None and certificate.stands:
        yield Said(say.customer_passed(certificate.on, certificate.due), "verdict")
        yield Said(say.customer_keep())
    elif bad:
        yield Said(say.customer_open(len(bad)), "verdict")
    elif not sheet.not_looked() and sheet.begun:
        yield Said(say.customer_waits(), "verdict")
    if sheet.not_looked():
        yield Said(say.customer_not_looked(len(sheet.not_looked())))
    if bad:
        yield Heading("What must be put right")
        yield Items(tuple(f"{p.plain} {p.danger}".strip() for p in bad))
    mended = [p for p in sheet.points if p.state == "repaired"]
    if mended:
        yield Heading("What was put right")
        yield Said(say.customer_repaired(len(mended)))
        done = [d.did for _, d in case.of(WorkData) if set(d.points) & {p.id for p in mended}]
        yield Items(tuple(done) or tuple(p.name for p in mended))
    yield Said(say.customer_law(), "small")
    if certificate is not None and certificate.stands:
        yield Lines((f"Inspector: {certificate.inspector}",))
