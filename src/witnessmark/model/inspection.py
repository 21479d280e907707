"""A periodic inspection as it stands: points, places, limits, what keeps the certificate back."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = [
    "Certificate",
    "InspectionSheet",
    "LimitSeen",
    "PlaceState",
    "PointState",
    "State",
    "Withheld",
]

State = Literal[
    "not_looked", "passes", "repaired", "too_close", "fails", "worked", "not_fitted", "not_required"
]


@dataclass(frozen=True, slots=True)
class LimitSeen:
    """A reading against one limit.

    Attributes:
        words: the limit and whose it is.
        section: where it stands.
        evidence: how far that was proven, in words.
        rule: inspection, road, practice or flag.
        verdict: passes, fails, too_close or said.
        said: the verdict in words.
    """

    words: str
    section: str
    evidence: str
    rule: str
    verdict: str
    said: str


@dataclass(frozen=True, slots=True)
class PlaceState:
    """One wheel, tyre or side of a point, or the point as a whole.

    Attributes:
        place: its id; empty for the whole.
        words: which it is, in words.
        state: in which state it is.
        entry: the entry that says so; empty for none.
        value: what was read, as typed.
        gauge: with what, in words.
        error: how far off that may be, as typed.
        limits: the reading against each limit.
        again: what to do where the gauge cannot tell.
        notes: what else is said of the reading.
        given: (ask id, answer) beside the reading.
        fault: what was seen, in words.
    """

    place: str
    words: str
    state: State
    entry: str = ""
    value: str = ""
    gauge: str = ""
    error: str = ""
    limits: tuple[LimitSeen, ...] = ()
    again: str = ""
    notes: tuple[str, ...] = ()
    given: tuple[tuple[str, str], ...] = ()
    fault: str = ""


@dataclass(frozen=True, slots=True)
class PointState:
    """One point of the inspection and how it stands.

    Attributes:
        id: point id.
        area: of what it is, in words.
        station: where on the walk.
        name: the point.
        look: what is looked at and how.
        fails: what fails it.
        section: of the law.
        evidence: how far that was proven.
        state: how it stands; the worst of its places.
        said: the state in words.
        optional: no line of the appendix.
        may_be_absent: may be answered with not fitted.
        reads: it is read with an instrument.
        drive: what may be done with the vehicle when it fails.
        danger: that in words, where it fails; else empty.
        plain: the defect in the customer's words.
        caution: what can hurt.
        places: its places.
        faults: (id, words) of the ways in which it fails.
        complaint: the complaint that it opened; empty for none.
        remarks: what does not count, and why.
    """

    id: str
    area: str
    station: str
    name: str
    look: str
    fails: str
    section: str
    evidence: str
    state: State
    said: str
    optional: bool
    may_be_absent: bool
    reads: bool
    drive: str
    danger: str
    plain: str
    caution: tuple[str, ...]
    places: tuple[PlaceState, ...]
    faults: tuple[tuple[str, str], ...]
    complaint: str = ""
    remarks: tuple[str, ...] = ()

    @property
    def is_open(self) -> bool:
        """Whether it keeps the certificate back."""
        open_states = {"fails", "worked", "too_close"}
        return self.state in open_states or (self.state == "not_looked" and not self.optional)


@dataclass(frozen=True, slots=True)
class Withheld:
    """One thing that keeps the certificate back, and what to do."""

    what: str
    do: str = ""
    point: str = ""


@dataclass(frozen=True, slots=True)
class Certificate:
    """A signed certificate.

    Attributes:
        entry: its entry.
        on: the day.
        inspector: who signed.
        brake_inspector: who answers for the brakes.
        due: the day before which the next one is due.
        keep: until when the report is kept.
        stands: nothing was open when it was signed, and nothing came after.
        why_not: why it does not stand.
    """

    entry: str
    on: str
    inspector: str
    brake_inspector: str
    due: str
    keep: str
    stands: bool
    why_not: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class InspectionSheet:
    """A whole inspection.

    Attributes:
        case: case id.
        begun: whether there is a head.
        vehicle: truck, tractor, trailer or dolly.
        title: of the list.
        head: (name, value) of who inspects what.
        stations: (id, name, state of the vehicle) in walking order.
        points: every point of this vehicle.
        withheld: what keeps the certificate back; empty: it may be signed.
        certificate: the newest one.
        record: what is kept for how long; empty before a certificate stands.
        defer: what stands beside every limit.
        other: what was written down as inspected that is no point of the list.
    """

    case: str
    begun: bool
    vehicle: str
    title: str
    head: tuple[tuple[str, str], ...]
    stations: tuple[tuple[str, str, str], ...]
    points: tuple[PointState, ...]
    withheld: tuple[Withheld, ...]
    certificate: Certificate | None
    record: str
    defer: str
    other: tuple[str, ...] = ()

    def point(self, identity: str) -> PointState | None:
        """Return a point by its id."""
        return next((p for p in self.points if p.id == identity), None)

    def not_looked(self) -> tuple[str, ...]:
        """Return the names of the points that must still be looked at."""
        return tuple(p.name for p in self.points if p.state == "not_looked" and p.is_open)

    def kept_back(self) -> tuple[Withheld, ...]:
        """Return what keeps the certificate back besides what was not looked at."""
        unseen = {p.id for p in self.points if p.state == "not_looked"}
        return tuple(w for w in self.withheld if w.point not in unseen)

    def count(self, *states: str) -> int:
        """Return how many points are in one of these states."""
        return sum(p.state in states for p in self.points)
