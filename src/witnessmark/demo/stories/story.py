"""How an invented case is written down: entries in order, with the recordings they name."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from witnessmark.demo.machines.drive_cycle import Gearing

__all__ = ["Story", "Writer", "point"]


@dataclass(frozen=True, slots=True)
class Story:
    """One invented case.

    Attributes:
        case_id: the case's name.
        title: who, what truck, what complaint.
        tempting: the wrong answer that the first look suggests.
        truth: what the inventor put into the truck, first cause first.
        lines: its entries as lines of JSON.
        files: name of a recording -> its bytes.
    """

    case_id: str
    title: str
    tempting: str
    truth: tuple[str, ...]
    lines: tuple[str, ...]
    files: Mapping[str, bytes]


@dataclass(slots=True)
class Writer:
    """Collects the entries of a story; time runs forward by itself."""

    began: str
    files: dict[str, bytes] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)
    minutes: float = 0.0

    def add(self, kind: str, *, after: float = 4.0, **data: Any) -> str:
        """Add an entry made *after* minutes and return its id."""
        self.minutes += after
        identity = f"e{len(self.lines) + 1}"
        document = {"kind": kind, "id": identity, "at": self.now(), "data": data}
        self.lines.append(json.dumps(document, ensure_ascii=False))
        return identity

    def truck(
        self,
        label: str,
        customer: str,
        *,
        litres: float,
        gearing: Gearing | None = None,
        fuel_supply: str = "",
        **data: Any,
    ) -> str:
        """Add a six-cylinder truck of an invented engine type, named after its litres."""
        engine: dict[str, Any] = {
            "cylinders": 6,
            "displacement_l": litres,
            "firing_order": [1, 5, 3, 6, 2, 4],
            "type": f"example-{int(litres)}l",
        }
        if fuel_supply:
            engine["fuel_supply"] = fuel_supply
        if gearing is not None:
            data["gears"] = dict(gearing.gears)
            data["axle_ratio"] = gearing.axle_ratio
            data["tyre_rev_per_mile"] = gearing.tyre_rev_per_mile
        return self.add("truck", label=label, customer=customer, engine=engine, **data)

    def read(
        self,
        quantity: str,
        values: Mapping[tuple[float, str] | float, str],
        *,
        instrument: Mapping[str, str] | None = None,
        warm: bool | None = True,
        **data: Any,
    ) -> None:
        """Add a reading for every operating point: engine speed, or (engine speed, load)."""
        for where, value in values.items():
            rpm, load = where if isinstance(where, tuple) else (where, "none")
            more = dict(data)
            if instrument is not None:
                more["instrument"] = dict(instrument)
            self.add(
                "reading",
                after=3,
                quantity=quantity,
                value=value,
                point=point(rpm, load, warm=warm),
                **more,
            )

    def record(self, name: str, content: bytes, holds: str) -> str:
        """Add a recording with its digest."""
        self.files[name] = content
        digest = hashlib.sha256(content).hexdigest()
        return self.add("recording", after=20, path=name, sha256=digest, holds=holds)

    def days(self, count: float) -> None:
        """Let days go by."""
        self.minutes += 1440 * count

    def now(self) -> str:
        """Return the time of the story."""
        moment = datetime.fromisoformat(self.began).replace(tzinfo=UTC)
        moment += timedelta(minutes=self.minutes)
        return moment.isoformat(timespec="seconds").replace("+00:00", "Z")


def point(rpm: float, load: str = "none", *, warm: bool | None = True) -> dict[str, Any]:
    """Return an operating point; engine speed 0 stands for a reading that has none."""
    found: dict[str, Any] = {"rpm": rpm, "load": load} if rpm else {}
    if warm is not None and rpm:
        found["warm"] = warm
    return found
