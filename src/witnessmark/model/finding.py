"""What the physics and the checks found: one record, rendered by every face."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from witnessmark.model.details.finding_details import NO_DETAILS, Details
from witnessmark.words.numbers import percentage

Outcome = Literal["seen", "not_seen", "inconclusive", "not_run"]


#: No engine idles so slowly as it cranks, nor cranks so fast; an idle range ends below this.
MOST_CRANKING, IDLE, MOST_IDLE = 400.0, 700.0, 1000.0
_STATES = {
    "off": "engine off",
    "key_on": "key on, engine off",
    "cranking": "cranking",
    "idle": "idle",
    "running": "running",
}


@dataclass(frozen=True, slots=True)
class OperatingPoint:
    """Where on the engine's map something was measured. ``None`` means not known, never zero.

    Attributes:
        rpm: engine speed [r/min].
        load: 0.0 (none) to 1.0 (full load).
        gear: the gear's name as the technician wrote it.
        warm: coolant and oil at working temperature.
        engine: what the engine did, where no speed was read: off, key_on, cranking, idle, running.
    """

    rpm: float | None = None
    load: float | None = None
    gear: str | None = None
    warm: bool | None = None
    engine: str | None = None

    def turns_within(self, span: tuple[float, float]) -> bool | None:
        """Say whether the engine turns within a range of speeds [r/min], ``None``: not known.

        Without a speed its state says it where it can: standing is no speed, a range that ends
        below every idle is a cranking one. Common practice, no source.
        """
        low, high = span
        if self.rpm is not None:
            return low <= self.rpm <= high
        if self.engine in {"off", "key_on"}:
            return low <= 0.0
        if self.engine == "cranking":
            return 0.0 < high <= MOST_CRANKING
        if self.engine == "idle":
            return low <= IDLE <= high <= MOST_IDLE
        return None

    def matches(
        self,
        other: OperatingPoint,
        *,
        rpm_tol: float = 25.0,
        load_tol: float = 0.05,
    ) -> bool:
        """Say whether two points are the same place for a before/after comparison.

        Common practice, no source: rpm within 25, load within 5 points, same gear. A load,
        gear or warm state that is missing on either side does not block a match; a missing
        rpm matches only a missing rpm, and then not another state of the engine.
        """
        if (self.rpm is None) != (other.rpm is None):
            return False
        if self.rpm is not None and other.rpm is not None and abs(self.rpm - other.rpm) > rpm_tol:
            return False
        loads = (self.load, other.load)
        if None not in loads and abs((self.load or 0.0) - (other.load or 0.0)) > load_tol:
            return False
        if None not in (self.engine, other.engine) and self.engine != other.engine:
            return False
        same_gear = self.gear is None or other.gear is None or self.gear == other.gear
        same_warmth = self.warm is None or other.warm is None or self.warm == other.warm
        return same_gear and same_warmth

    def words(self) -> str:
        """Return the point in words, such as ``1570 rpm, no load`` or ``1550 rpm, full load``."""
        parts: list[str] = []
        if self.rpm is not None:
            parts.append(f"{self.rpm:.0f} rpm")
        elif self.engine is not None:
            parts.append(_STATES.get(self.engine, self.engine))
        if self.load is not None:
            if self.load <= 0.0:
                parts.append("no load")
            elif self.load >= 1.0:
                parts.append("full load")
            else:
                parts.append(f"{percentage(self.load)} load")
        if self.gear is not None:
            parts.append(f"gear {self.gear}")
        if self.warm is not None:
            parts.append("warm" if self.warm else "cold")
        return ", ".join(parts) or "operating point not given"


@dataclass(frozen=True, slots=True)
class Evidence:
    """What a finding rests on: entries, and where in which recording.

    Attributes:
        entries: entry ids.
        recording: sha256 of the recording, or ``None``.
        channel: channel name within the recording.
        start_s: start of the span [s] on the recording's own clock.
        end_s: end of the span [s].
    """

    entries: tuple[str, ...] = ()
    recording: str | None = None
    channel: str | None = None
    start_s: float | None = None
    end_s: float | None = None


@dataclass(frozen=True, slots=True)
class Support:
    """How a finding bears on the causes of one family.

    Attributes:
        family: family id.
        log_likelihood: cause id -> natural log of P(finding | cause) over P(finding | cause
            absent, nothing else wrong). A cause that is not named has 0: the finding says
            nothing about it.
    """

    family: str
    log_likelihood: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class JointSupport:
    """A likelihood over sets of causes that a physical model cannot tell apart one by one.

    Attributes:
        family: family id.
        groups: each group lists the cause ids that share one physical parameter.
        log_likelihood: set of group numbers that are at fault -> natural log of
            P(readings | exactly these groups at fault). Sets that are missing are taken by
            the rule the inference room states.
    """

    family: str
    groups: tuple[tuple[str, ...], ...]
    log_likelihood: Mapping[frozenset[int], float]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found, not found, undecided or not run, with all that is known about it.

    Attributes:
        code: stable identifier, lower case with underscores.
        sentence: one plain sentence for the technician.
        outcome: ``seen``, ``not_seen``, ``inconclusive`` or ``not_run``. ``not_run`` never
            counts as ``not_seen``.
        reason: why, when the outcome is ``inconclusive`` or ``not_run``.
        quantity: name in the quantity table, if a quantity is concerned.
        value: in the house unit of the quantity, or ``None``.
        unit: house unit of *value*, *low* and *high*.
        low: lower end of the interval.
        high: upper end of the interval.
        coverage: probability that the interval holds the true value.
        point: operating point.
        evidence: what it rests on.
        method: name of the method and its version, such as ``spec_check/1``.
        source: where the limit or the band used comes from.
        stage: number of work entries that were done before it was measured (0: as it came in).
        support: how it bears on causes, one record a family.
        joint: the same for a physical model that speaks of sets of causes.
        details: further numbers for pictures and reports, the record of its kind of finding.
    """

    code: str
    sentence: str
    outcome: Outcome
    method: str
    reason: str = ""
    quantity: str | None = None
    value: float | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None
    coverage: float | None = None
    point: OperatingPoint | None = None
    evidence: Evidence = field(default_factory=Evidence)
    source: str = ""
    stage: int = 0
    support: tuple[Support, ...] = ()
    joint: JointSupport | None = None
    details: Details = NO_DETAILS
