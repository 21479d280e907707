"""What must be measured again before a complaint counts as proven, family by family."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

from witnessmark.errors import PackRefused
from witnessmark.model.finding import OperatingPoint

__all__ = ["ProofPlan", "ProofPoint", "Requirement", "load_proof_plans"]


@dataclass(frozen=True, slots=True)
class ProofPoint:
    """A named place on the engine's map.

    Attributes:
        name: its name in the pack.
        words: in words.
        rpm: lowest and highest engine speed [r/min], ``None`` for any.
        load: 0.0 (no load), 1.0 (full load), ``None`` for any.
    """

    name: str
    words: str
    rpm: tuple[float, float] | None = None
    load: float | None = None

    def holds(self, point: OperatingPoint) -> bool:
        """Say whether an operating point belongs to this place.

        A load that was not written down counts as no load, never as a pull: common practice,
        no source.
        """
        low, high = self.rpm or (0.0, math.inf)
        if self.rpm is not None and (point.rpm is None or not low <= point.rpm <= high):
            return False
        if self.load is None:
            return True
        load = 0.0 if point.load is None else point.load
        return load >= 0.85 if self.load >= 1.0 else load <= 0.15


@dataclass(frozen=True, slots=True)
class Requirement:
    """One line of a proof plan; exactly one of quantity, test, finding and word is set.

    Attributes:
        words: what is asked, in words.
        quantity: name in the quantity table.
        point: where it is measured.
        better: which way is better where no band is known.
        test: test id; ``*`` for whichever test was positive before the work.
        finding: finding code that must be looked for and not seen.
        for_s: over at least so many seconds of recording [s].
        against: further finding codes that must not be seen.
        word: the customer's word.
        before: what must be there from before the work, so that it can be judged afterwards.
    """

    words: str
    quantity: str | None = None
    point: ProofPoint | None = None
    better: Literal["lower", "higher", ""] = ""
    test: str | None = None
    finding: str | None = None
    for_s: float = 0.0
    against: tuple[str, ...] = ()
    word: bool = False
    before: str = ""


@dataclass(frozen=True, slots=True)
class ProofPlan:
    """The proof plan of one family: all of *required*, one of *second*; *confirm* is named."""

    family: str
    required: tuple[Requirement, ...]
    second: tuple[Requirement, ...]
    confirm: tuple[Requirement, ...]


@cache
def load_proof_plans() -> Mapping[str, ProofPlan]:
    """Return family id -> proof plan from the shipped pack.

    Raises:
        PackRefused: the pack has a fault.
    """
    pack = files("witnessmark.knowledge") / "proof_points.toml"
    document = tomllib.loads(pack.read_text(encoding="utf-8"))
    points = {name: _point(name, row) for name, row in document["points"].items()}
    return {
        family: ProofPlan(
            family,
            *(
                tuple(_requirement(family, row, points) for row in plan.get(part, []))
                for part in ("required", "second", "confirm")
            ),
        )
        for family, plan in document["families"].items()
    }


def _point(name: str, row: Mapping[str, Any]) -> ProofPoint:
    loads = {"none": 0.0, "full": 1.0}
    rpm = row.get("rpm")
    return ProofPoint(
        name,
        row["words"],
        (float(rpm[0]), float(rpm[1])) if rpm else None,
        loads[row["load"]] if "load" in row else None,
    )


def _requirement(
    family: str, row: Mapping[str, Any], points: Mapping[str, ProofPoint]
) -> Requirement:
    kinds = [key for key in ("quantity", "test", "finding", "word") if key in row]
    if len(kinds) != 1:
        raise PackRefused(
            "A line has exactly one of quantity, test, finding and word.",
            where=f"proof_points families.{family}",
        )
    point = points[row["point"]] if "point" in row else None
    return Requirement(
        words=row.get("words") or _words(row, point),
        quantity=row.get("quantity"),
        point=point,
        better=row.get("better", ""),
        test=row.get("test"),
        finding=row.get("finding"),
        for_s=float(row.get("for_s", 0.0)),
        against=tuple(row.get("against", ())),
        word=bool(row.get("word", False)),
        before=row.get("before", ""),
    )


def _words(row: Mapping[str, Any], point: ProofPoint | None) -> str:
    if "quantity" in row:
        place = f" at {point.words}" if point is not None else ""
        return f"{str(row['quantity']).replace('_', ' ')}{place}"
    if "test" in row:
        return f"the test '{row['test']}', repeated"
    return "the customer's word a day or more after the work"
