"""Further numbers of findings about traces: is a sensor believed, and what its neighbours did."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from witnessmark.model.details.finding_details import ABSENT, Details, Told

__all__ = [
    "CircuitFault",
    "ColdSoak",
    "DamagedLines",
    "HeldLevel",
    "JumpCircuit",
    "Jumps",
    "NoJumps",
    "OtherSensor",
    "RealMovement",
    "SensorOff",
    "SilentUnit",
    "StandsStill",
    "StepsBeside",
    "StepsTogether",
    "Swapped",
    "TogetherCodes",
    "TooFastChanges",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class JumpCircuit:
    """What in the circuit would make the typical jump.

    Attributes:
        series_ohm: added resistance in the loop, ``None`` when it reads hotter.
        shunt_ohm: resistance across the sensor, ``None`` when it reads colder.
        ground_lift_v: voltage added at the input.
    """

    series_ohm: float | None
    shunt_ohm: float | None
    ground_lift_v: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Jumps(Details):
    """Jumps that the quantity itself could not make.

    Attributes:
        difference: the value is a difference.
        kind: the kind of jump.
        probability: that the circuit made them.
        log_bayes_factor: natural log of the odds factor.
        kinds: kind of jump -> its probability.
        times_s: begin of each [s].
        ends_s: end of each [s].
        changes: its size, house unit.
        largest_credible_rate: what the quantity itself can do, house unit per second.
        movement: kind of a real movement beside them, empty without.
        covered_s: for how long it was looked [s].
        picture: trace, band and spans.
        stands_for: tests by hand that it answers.
        uses_tests: tests by hand whose result it has used.
        circuit: what in the circuit would do it; not where the sensor is no thermistor.
        lanes: channel -> instants at which it stepped too [s].
    """

    difference: bool | None = field(default=None, metadata=ABSENT)
    kind: str
    probability: float
    log_bayes_factor: float
    kinds: Mapping[str, float]
    times_s: Sequence[float]
    ends_s: Sequence[float]
    changes: Sequence[float]
    largest_credible_rate: float
    movement: str
    covered_s: float | None = None
    picture: Mapping[str, object] | None = field(default=None, metadata=ABSENT)
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    uses_tests: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    circuit: JumpCircuit | None = field(default=None, metadata=ABSENT)
    lanes: Mapping[str, Sequence[float]] | None = field(default=None, metadata=ABSENT)

    def to_json(self) -> dict[str, Told]:
        """Return the numbers, those of the circuit among them."""
        # super() without arguments does not know a class with slots.
        found = Details.to_json(self)
        if self.circuit is not None:
            found["series_ohm"] = self.circuit.series_ohm
            found["shunt_ohm"] = self.circuit.shunt_ohm
            found["ground_lift_v"] = self.circuit.ground_lift_v
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class NoJumps(Details):
    """No jump, or too little to say so; as :class:`Jumps`.

    Attributes:
        probability: that the circuit made any.
        log_bayes_factor: natural log of the odds factor.
        kinds: kind of jump -> its probability.
        movement: kind of a real movement, empty without.
        smallest_glitch: length in words -> smallest jump that would have shown, house unit.
        covered_s: for how long it was looked [s].
        picture: trace and band.
        stands_for: tests by hand that it answers.
        uses_tests: tests by hand whose result it has used.
    """

    probability: float
    log_bayes_factor: float
    kinds: Mapping[str, float]
    movement: str
    smallest_glitch: Mapping[str, float]
    covered_s: float | None = None
    picture: Mapping[str, object] | None = field(default=None, metadata=ABSENT)
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    uses_tests: tuple[str, ...] | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealMovement(Details):
    """A real movement of the coolant temperature.

    Attributes:
        kind: the movement.
        size: of the swing, drop or rise, house unit.
        period_s: of a cycle [s].
        count: cycles, rises or drops.
        fan: what the fan did, ``None`` when it is not recorded.
        picture: trace and band.
        stands_for: tests by hand that it answers.
        uses_tests: tests by hand whose result it has used.
        difference: the value is a difference.
    """

    kind: str
    size: float
    period_s: float | None
    count: int
    fan: str | None
    picture: Mapping[str, object] | None = field(default=None, metadata=ABSENT)
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    uses_tests: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    difference: bool | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class StandsStill(Details):
    """A reading that stands still to the digit."""

    kind: str
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    uses_tests: tuple[str, ...] | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsTogether(Details):
    """What the other channels did at the instants at which one of them jumps.

    Attributes:
        anchor: the channel that jumps.
        channels: the others that were asked.
        p: channel -> chance that it stepped along by accident.
        ratio: channel -> its step over the anchor's.
        expected_ratio: the same as the likeliest shared part would make it.
        signatures: shared part -> its probability.
        with_loads: in time with an electrical load; ``None`` where no load is recorded.
        lanes: channel -> instants at which it stepped [s].
        starts: the anchor's jumps [s].
        ways: channel -> its typical step, house unit.
        quiet: channels that stayed although they would have shown.
        stands_for: tests by hand that it answers.
        uses_tests: tests by hand whose result it has used.
        kind: the pattern.
        signature: the shared part.
        chance: probability of it.
        linked: channels that step with the anchor.
        numbers: the figures behind it, in words.
    """

    anchor: str
    channels: Sequence[str]
    p: Mapping[str, float]
    ratio: Mapping[str, float]
    expected_ratio: Mapping[str, float]
    signatures: Mapping[str, float]
    with_loads: bool | None
    lanes: Mapping[str, Sequence[float]]
    starts: Sequence[float]
    ways: Mapping[str, float]
    quiet: Sequence[str]
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    uses_tests: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    kind: str | None = field(default=None, metadata=ABSENT)
    signature: str | None = field(default=None, metadata=ABSENT)
    chance: float | None = field(default=None, metadata=ABSENT)
    linked: Sequence[str] | None = field(default=None, metadata=ABSENT)
    numbers: str | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class TogetherCodes(Details):
    """Trouble codes of several circuits that came up at once."""

    kind: str
    spns: Sequence[int]
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    uses_tests: tuple[str, ...] | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class SilentUnit(Details):
    """A control unit that fell silent.

    Attributes:
        kind: the pattern.
        address: source address on the bus.
        bus: which bus.
        count: how often.
        times_s: begin of each silence [s].
        ends_s: its end [s].
    """

    kind: str
    address: int
    bus: str | int | None
    count: int
    times_s: Sequence[float]
    ends_s: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CircuitFault(Details):
    """A circuit that its sender calls faulted.

    Attributes:
        spn: number of the signal.
        source: source address.
        bus: which bus.
        valid: samples that are readings.
        error_coded: samples that are coded as an error.
        samples: all of them.
    """

    spn: int | None
    source: int | None
    bus: str | int | None
    valid: int
    error_coded: int
    samples: int


@dataclass(frozen=True, slots=True, kw_only=True)
class DamagedLines(Details):
    """How many error frames or damaged lines a log holds."""

    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldLevel(Details):
    """A coolant reading that the thermostat holds off its rating, at *level* [degC]."""

    difference: bool | None = field(default=None, metadata=ABSENT)
    kind: str
    level: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsBeside(Details):
    """A sensor that changed while its neighbour *beside* changed by *beside_change* only."""

    difference: bool | None = field(default=None, metadata=ABSENT)
    kind: str
    beside: str
    beside_change: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorOff(Details):
    """A sensor that stands steadily off its neighbour *against*, or the other way round."""

    difference: bool | None = field(default=None, metadata=ABSENT)
    kind: str
    against: str
    one_of_two: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Swapped(Details):
    """Two channels that carry each other's name, with the natural log of the odds."""

    kind: str
    pair: Sequence[str]
    log_odds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdSoak(Details):
    """How far each temperature sensor is off the others at cold soak [K]."""

    deviation: Mapping[str, float]
    kind: str | None = field(default=None, metadata=ABSENT)
    difference: bool | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherSensor(Details):
    """A bus sensor beside a probe or a gauge."""

    difference: bool | None = field(default=None, metadata=ABSENT)
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TooFastChanges(Details):
    """Changes of a reading that its quantity cannot make."""

    difference: bool | None = field(default=None, metadata=ABSENT)
    kind: str
    count: int
