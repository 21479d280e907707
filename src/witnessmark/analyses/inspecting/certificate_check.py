"""What keeps the certificate of a periodic inspection back, and whether a signed one stands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date

from witnessmark.analyses.inspecting.inspection_sheet import head_of, point_states
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.inspecting.inspection_lists import InspectionList
from witnessmark.knowledge.inspecting.inspection_parts import QualifiedPart
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.inspection_data import CertificateData, InspectionData
from witnessmark.model.entries.ledger_data import InspectData
from witnessmark.model.inspection import Certificate, InspectionSheet, PointState, Withheld
from witnessmark.model.step import Step
from witnessmark.words.say import inspection as say

__all__ = ["covered", "inspection_sheet", "months_after", "withheld_by"]

#: A stop that only forbids a load or a habit does not keep a vehicle from passing.
_KEEPS_BACK = frozenset({"park", "tow"})


def inspection_sheet(
    case: Case, listing: InspectionList, knowledge: Knowledge, stops: Sequence[Step] = ()
) -> InspectionSheet:
    """Return the inspection of a case as it stands.

    Args:
        case: the entries.
        listing: the points.
        knowledge: the packs, for whose repair a work was.
        stops: steps; the safety stops among them that park or tow keep the certificate back.
    """
    head = head_of(case)
    points = point_states(case, listing, knowledge)
    certificate = _certificate(case, listing, knowledge)
    known = {p.id for p in points}
    return InspectionSheet(
        case=case.id,
        begun=head is not None,
        vehicle=head.vehicle if head else "",
        title=listing.file.title,
        head=tuple(_head(head, listing)) if head else (),
        stations=tuple((s.id, s.name, s.state) for s in listing.file.stations),
        points=points,
        withheld=tuple(withheld_by(case, points, listing, stops)),
        certificate=certificate,
        record=_record(certificate, listing),
        defer=say.defer(),
        other=tuple(
            dict.fromkeys(d.point for _, d in case.of(InspectData) if d.point not in known)
        ),
    )


def withheld_by(
    case: Case, points: Sequence[PointState], listing: InspectionList, stops: Sequence[Step] = ()
) -> Iterator[Withheld]:
    """Yield everything that keeps the certificate back."""
    head = head_of(case)
    if head is None:
        yield Withheld(say.not_begun(), "Begin it.")
        return
    yield from _vehicle(case, head)
    yield from _people(head, listing)
    for point in points:
        if point.is_open:
            yield Withheld(
                say.open_point(point.name, point.state), say.do_point(point.state), point.id
            )
    for stop in stops:
        if stop.kind == "safety" and stop.drive in _KEEPS_BACK:
            yield Withheld(say.stop_stands(stop.name, stop.until), "Do what lifts it.")


def months_after(day: date, months: int, *, late: bool = False) -> date:
    """Return the same day so many months later; where that month has none, its last, or the next.

    Args:
        day: the day.
        months: how many, >= 0.
        late: the first of the month after instead of the last day: for what must be kept at least.
    """
    year, month = divmod(day.month - 1 + months, 12)
    for number in (day.day, 30, 29, 28):
        try:
            found = date(day.year + year, month + 1, number)
        except ValueError:
            continue
        if number != day.day and late:
            return date.fromordinal(found.toordinal() + 1)
        return found
    raise AssertionError


def covered(passed: Sequence[tuple[str, date | None]], today: date, months: int) -> list[str]:
    """Return the vehicles of a combination that no inspection covers today.

    Args:
        passed: (vehicle, day on which it passed, ``None`` for never).
        today: the day.
        months: how long an inspection is good.
    """
    return [name for name, day in passed if day is None or months_after(day, months) < today]


def _vehicle(case: Case, head: InspectionData) -> Iterator[Withheld]:
    truck = case.truck()
    told = (truck.vehicle or "truck") if truck is not None else "truck"
    kind = "truck" if head.vehicle == "tractor" else head.vehicle
    if told != kind:
        yield Withheld(say.wrong_vehicle(told, head.vehicle), "Open a case of its own for it.")
    if truck is None or not (truck.vin or truck.plate or truck.unit):
        yield Withheld(
            say.missing("The vehicle's mark (VIN, plate or unit number)"),
            "Write it down with the vehicle; 49 CFR 396.21(a) asks which vehicle it is.",
        )
    if not head.carrier:
        yield Withheld(
            say.missing("Who operates the vehicle"), "49 CFR 396.21(a) asks for the carrier."
        )


def _people(head: InspectionData, listing: InspectionList) -> Iterator[Withheld]:
    rows = (
        ("The inspector", "396.19", head.inspector, head.qualified, head.evidence,
         listing.file.qualified),
        ("The brake inspector", "396.25", head.brake_inspector, head.brake_qualified,
         head.brake_evidence, listing.file.brake_qualified),
    )  # fmt: skip
    for who, section, name, ability, evidence, known in rows:
        if not (name or "").strip():
            yield Withheld(say.missing(f"{who}'s name"), f"Say who it is (49 CFR {section}).")
        found = _ability(known, ability)
        if found is None:
            yield Withheld(
                say.missing(f"What {who.lower()}'s ability rests on"),
                f"Tap what it is (49 CFR {section}). Without a qualified person nobody signs.",
            )
        elif not found.counts:
            yield Withheld(
                say.not_enough(found.words, found.section), "Name training or a year of the work."
            )
        if not (evidence or "").strip():
            yield Withheld(
                say.missing(f"Where the evidence of {who.lower()}'s ability is kept"),
                f"Write down where it is (49 CFR {section}).",
            )


def _ability(known: Sequence[QualifiedPart], identity: str | None) -> QualifiedPart | None:
    return next((q for q in known if q.id == identity), None)


def _head(head: InspectionData, listing: InspectionList) -> Iterator[tuple[str, str]]:
    yield "Vehicle", f"{head.vehicle}, {head.axles} axles, {head.brake_kind} brakes"
    if head.built:
        yield "Built", head.built
    yield (
        "Operated by",
        ", ".join(p for p in (head.carrier, head.carrier_address) if p) or "not said",
    )
    for name, who, ability, evidence, known in (
        ("Inspector (396.19)", head.inspector, head.qualified, head.evidence,
         listing.file.qualified),
        ("Brake inspector (396.25)", head.brake_inspector, head.brake_qualified,
         head.brake_evidence, listing.file.brake_qualified),
    ):  # fmt: skip
        yield name, who or "not said"
        found = _ability(known, ability)
        rests = f"{found.words} ({found.section})" if found else "not said"
        yield f"{name.split(' (')[0]}: ability", rests
        yield f"{name.split(' (')[0]}: evidence kept", evidence or "not said"


def _certificate(case: Case, listing: InspectionList, knowledge: Knowledge) -> Certificate | None:
    """Return the newest certificate, and whether it stands by the entries before and after it."""
    live = case.live()
    signed = [n for n, e in enumerate(live) if isinstance(e.data, CertificateData)]
    if not signed:
        return None
    at = signed[-1]
    entry = live[at]
    assert isinstance(entry.data, CertificateData)  # noqa: S101
    before = Case(case.id, live[:at])
    head = head_of(before)
    why = [w.what for w in withheld_by(before, point_states(before, listing, knowledge), listing)]
    if head is not None and head.inspector and head.inspector != entry.data.inspector:
        why.append(say.unlike(entry.data.inspector, head.inspector))
    why += [say.after(p.name) for p in point_states(case, listing, knowledge) if p.is_open]
    day = entry.when().date()
    return Certificate(
        entry.id,
        day.isoformat(),
        entry.data.inspector,
        entry.data.brake_inspector or "",
        months_after(day, listing.months("valid")).isoformat(),
        months_after(day, listing.months("kept"), late=True).isoformat(),
        not why,
        tuple(dict.fromkeys(why)),
    )


def _record(certificate: Certificate | None, listing: InspectionList) -> str:
    if certificate is None or not certificate.stands:
        return ""
    return say.record(
        certificate.keep, certificate.due, listing.section("kept"), listing.section("valid")
    )
