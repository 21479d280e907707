"""Steps: what can be done next, what it costs, and what it would tell."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from witnessmark.model.finding import OperatingPoint

StepKind = Literal["safety", "measure", "test", "repair"]


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
    """

    result: str
    probability: float
    leads: tuple[tuple[str, float], ...]


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
        barred: of a safety stop, tests that it forbids besides.
        drive: of a safety stop, what the driver may do: park, tow, limp or drive.
        until: of a safety stop, what lifts it, in words.
        evidence: of a safety stop, the entries that raised it; none where only the odds did.
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

    def bars(self, step: str, needs: Iterable[str]) -> bool:
        """Say whether this stop forbids a test or measurement with these needs."""
        if step in self.barred:
            return True
        return self.rules_out(needs) and step not in {*self.checks, *self.allowed}

    def rules_out(self, needs: Iterable[str]) -> bool:
        """Say whether this stop forbids what needs these conditions.

        A warm engine, a load and the road all mean that the engine runs.
        """
        wants = set(needs)
        if wants & {"warm", "road", "load"}:
            wants.add("running")
        if "running" in wants:
            wants.add("cranking")
        return bool(wants & set(self.forbids))
