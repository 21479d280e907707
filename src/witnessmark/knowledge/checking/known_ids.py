"""The ids that the packs so far have said, by kind."""

from __future__ import annotations

from dataclasses import dataclass, field, fields

from witnessmark.knowledge.parts.pack_parts import PackFile

__all__ = ["Fault", "Known", "unknown"]

#: Path in the document, what is wrong, what to do.
Fault = tuple[str, str, str]


@dataclass
class Known:
    """What earlier packs have said: ids by kind.

    Attributes:
        zones: family id -> its zones; its keys are the families.
        causes: cause id -> family.
        tests: test id -> family.
        outcomes: test id -> its outcomes.
        stops: stop id -> family, empty for one of the whole truck.
        conditions: condition ids; the further sets likewise.
    """

    zones: dict[str, set[str]] = field(default_factory=dict)
    causes: dict[str, str] = field(default_factory=dict)
    tests: dict[str, str] = field(default_factory=dict)
    outcomes: dict[str, tuple[str, ...]] = field(default_factory=dict)
    stops: dict[str, str] = field(default_factory=dict)
    conditions: set[str] = field(default_factory=set)
    access_groups: set[str] = field(default_factory=set)
    cautions: set[str] = field(default_factory=set)
    drive_points: set[str] = field(default_factory=set)
    proof_points: set[str] = field(default_factory=set)
    measurements: set[str] = field(default_factory=set)

    def add(self, pack: PackFile) -> Known:
        """Return a copy with what *pack* adds."""
        held = {f.name: getattr(self, f.name) for f in fields(self)}
        zones = {k: set(v) for k, v in self.zones.items()}
        new = Known(**{k: v.copy() for k, v in held.items() if k != "zones"}, zones=zones)
        for name in ("conditions", "access_groups", "cautions", "drive_points", "proof_points",
                     "measurements"):  # fmt: skip
            getattr(new, name).update(part.id for part in getattr(pack, name))
        family = pack.family.id if pack.family is not None else ""
        for stop in pack.stops:
            new.stops.setdefault(stop.id, family)
        if pack.family is not None:
            new.zones.setdefault(family, set()).update(z.id for z in pack.family.zones or ())
            for cause in pack.causes:
                new.causes.setdefault(cause.id, family)
            for test in pack.tests:
                new.tests.setdefault(test.id, family)
                if test.outcomes is not None:
                    new.outcomes[test.id] = test.outcomes
                new.outcomes.setdefault(test.id, ("positive", "negative"))
        return new

    def results(self, test: str) -> tuple[str, ...]:
        """Return the results that an entry of a test may have."""
        return (*self.outcomes.get(test, ()), "positive", "negative", "maybe")


def unknown(path: str, kind: str, identity: str) -> Fault:
    """Return the fault of an id that no pack knows."""
    return path, f"'{identity}' is not a known {kind}.", "Check the spelling or add it."
