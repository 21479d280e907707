"""Steps: what can be done next, what it costs, and what it would tell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from witnessmark.model.finding import OperatingPoint

__all__ = [
    "SEARCHED",
    "Forecast",
    "OverriddenStop",
    "Result",
    "Spread",
    "Step",
    "StepKind",
    "forbidden_by",
]

StepKind = Literal["safety", "measure", "test", "repair"]


#: What a note is about that says what an open search came to.
SEARCHED = "search"


@dataclass(frozen=True, slots=True)
class Spread:
    """A low / typical / high figure; minutes or US dollars."""

    low: float
    typical: float
    high: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """What a reading would show after a repair, or at the next measurement.

    Attributes:
        quantity: name in the quantity table.
        point: operating point.
        value: middle, in the house unit.
        low: lower end, 90 % interval.
        high: upper end, 90 % interval.
        unit: house unit.
        in_band: chance to be inside the healthy band, ``None`` without a band.
        words: the same as one sentence.
    """

    quantity: str
    point: OperatingPoint
    value: float
    low: float
    high: float
    unit: str
    in_band: float | None = None
    words: str = ""


@dataclass(frozen=True, slots=True)
class Result:
    """One possible result of a step and what it would do to the odds.

    Attributes:
        result: result id, such as ``positive`` or ``cured``.
        probability: chance of that result.
        leads: (cause id, probability) after it, likeliest first.
        words: what is seen then, in words.
        means: what it would make us think, as a sentence; empty where it changes nothing.
    """

    result: str
    probability: float
    leads: tuple[tuple[str, float], ...]
    words: str = ""
    means: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One possible next step.

    Attributes:
        step: test id, measurement id or cause id (for a repair).
        kind: safety, measure, test or repair.
        family: family id it serves.
        name: in words.
        minutes: hands-on time.
        usd: parts and materials.
        expected_total_usd: expected total cost to a proven cure if taken next.
        why: one or two sentences.
        access: 1 (hood up) to 5 (engine or transmission out).
        needs: conditions: warm, cold, running, road, load, second person.
        cautions: what can hurt the person or the truck.
        must_renew: seals and fasteners that go with it.
        results: what its possible results would do to the odds.
        forecast: what a repair would read afterwards.
        also: families it serves besides *family*.
        along: cause ids worth renewing through the same opening, measured once for both.
        proof: what to re-measure after a repair.
        forbids: of a safety stop, the needs that nothing may have while it stands.
        checks: of a safety stop, the tests whose result lifts it; they may be made under it.
        allowed: of a safety stop, tests that may be made under it although it forbids their kind.
        barred: of a safety stop, tests and causes (their repair) that it forbids besides.
        drive: of a safety stop, what the driver may do: park, tow, limp or drive.
        until: of a safety stop, what lifts it, in words.
        evidence: of a safety stop, the entries that raised it; none where only the odds did.
        work: what doing it takes besides *needs*, such as ``open``; of a repair all that the work
            itself takes, for its needs are those of the drive that proves it.
    """

    step: str
    kind: StepKind
    family: str
    name: str
    minutes: Spread
    usd: Spread
    expected_total_usd: float
    why: str
    access: int = 1
    needs: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    must_renew: tuple[str, ...] = ()
    results: tuple[Result, ...] = ()
    forecast: tuple[Forecast, ...] = ()
    also: tuple[str, ...] = ()
    along: tuple[str, ...] = ()
    proof: str = ""
    forbids: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    allowed: tuple[str, ...] = ()
    barred: tuple[str, ...] = ()
    drive: str = ""
    until: str = ""
    evidence: tuple[str, ...] = ()
    work: tuple[str, ...] = ()

    @property
    def is_search(self) -> bool:
        """Whether it is the open search of its family."""
        return self.step == f"search_{self.family}"

    @property
    def demands(self) -> tuple[str, ...]:
        """What doing it takes of the truck and the engine, as a stop judges it."""
        return self.work if self.kind == "repair" else (*self.needs, *self.work)

    def bars(self, step: str, demands: Iterable[str]) -> bool:
        """Say whether this stop forbids something, by its id and what doing it takes."""
        if step in self.barred:
            return True
        return self.rules_out(demands) and step not in {*self.checks, *self.allowed}

    def rules_out(self, needs: Iterable[str]) -> bool:
        """Say whether this stop forbids what needs these conditions.

        A warm engine, a load and the road all mean that the engine runs.
        """
        wants = set(needs)
        if wants & {"warm", "road", "load"}:
            wants.add("running")
        if "running" in wants:
            wants.add("cranking")
        if "cranking" in wants:
            wants.add("key on")
        return bool(wants & set(self.forbids))


@dataclass(frozen=True, slots=True)
class OverriddenStop:
    """A standing stop against which something was done, by name and with a reason.

    Attributes:
        entry: the note that says so.
        at: when.
        stop: stop id.
        said: what the stop says.
        step: id of what was done against it.
        did: the same in words.
        by: who decided.
        reason: why, in his words.
    """

    entry: str
    at: str
    stop: str
    said: str
    step: str
    did: str
    by: str
    reason: str


def forbidden_by(stops: Iterable[Step], step: str, demands: Iterable[str]) -> Step | None:
    """Return the first stop that forbids something, ``None`` where nothing does.

    Every proposal goes through here: steps and what goes along with them, readings to offer, points
    to be driven, what the proof still asks for.

    Args:
        stops: steps; only the safety stops among them count.
        step: id of a test, measurement, cause (for its repair), point or request.
        demands: what doing it takes: ``Step.demands``, or the same of a pack's record.
    """
    wants = tuple(demands)
    return next((s for s in stops if s.kind == "safety" and s.bars(step, wants)), None)
