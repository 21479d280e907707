"""Two-wire thermistors and three-wire transducers, and what a bad circuit makes of them.

The thermistor hangs between the control unit's input, pulled up to its reference, and the
sensor ground. All figures of the generic sensor are common practice (no source); a maker's chart
replaces them. Resistances in ohm, voltages in V, temperatures in degC.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

__all__ = [
    "Thermistor",
    "Transducer",
    "added_series",
    "added_shunt",
    "ground_lift_for",
    "reading_with",
]

_ZERO_C = 273.15


@dataclass(frozen=True, slots=True)
class Thermistor:
    """A thermistor with its pull-up, R(T) = R25 exp(B (1/T - 1/298.15 K)).

    Valid where B is constant: about -20 to 130 degC to within 2 K for common parts.

    Attributes:
        r25: resistance at 25 degC [ohm].
        b: B value [K].
        pull_up: [ohm].
        reference: [V].
        source: where the figures come from.
    """

    r25: float = 2800.0
    b: float = 3700.0
    pull_up: float = 1000.0
    reference: float = 5.0
    source: str = "generic thermistor, common practice, no source"

    def resistance(self, temperature: float) -> float:
        """Return the resistance [ohm] at *temperature* [degC]."""
        return self.r25 * math.exp(
            self.b * (1.0 / (temperature + _ZERO_C) - 1.0 / (25.0 + _ZERO_C))
        )

    def temperature(self, resistance: float) -> float:
        """Return the temperature [degC] at *resistance* [ohm], > 0."""
        inverse = 1.0 / (25.0 + _ZERO_C) + math.log(resistance / self.r25) / self.b
        return 1.0 / inverse - _ZERO_C

    def voltage(self, temperature: float) -> float:
        """Return the input voltage [V] of the healthy circuit at *temperature* [degC]."""
        r = self.resistance(temperature)
        return self.reference * r / (self.pull_up + r)

    def read(self, voltage: float) -> float:
        """Return what the control unit makes of an input voltage [V], 0 < V < reference."""
        share = voltage / self.reference
        return self.temperature(self.pull_up * share / (1.0 - share))

    def slope(self, temperature: float) -> float:
        """Return dV/dT [V/K] at *temperature* [degC]."""
        h = 0.05
        return (self.voltage(temperature + h) - self.voltage(temperature - h)) / (2.0 * h)


@dataclass(frozen=True, slots=True)
class Transducer:
    """A three-wire ratiometric pressure transducer, 10 to 90 % of its reference.

    Attributes:
        span: pressure at 90 % less pressure at 10 % [Pa]; 145 psi, common practice, no source.
        reference: nominal reference [V].
        low: output share at zero pressure.
        high: output share at full pressure.
        source: where the figures come from.
    """

    span: float = 999_740.0
    reference: float = 5.0
    low: float = 0.1
    high: float = 0.9
    source: str = "generic 0.5 to 4.5 V transducer, 0 to 145 psi, common practice, no source"

    def voltage(self, pressure: float, reference: float | None = None) -> float:
        """Return the output [V] at *pressure* [Pa] with the given supply [V]."""
        supply = self.reference if reference is None else reference
        return supply * (self.low + (self.high - self.low) * pressure / self.span)

    def read(self, voltage: float) -> float:
        """Return the pressure [Pa] the control unit makes of a voltage [V]."""
        return (voltage / self.reference - self.low) / (self.high - self.low) * self.span

    def lifted(self, pressure: float, lift: float, *, supply_follows: bool = True) -> float:
        """Return the pressure [Pa] read with the sensor ground *lift* [V] above the unit's.

        Args:
            pressure: true pressure [Pa].
            lift: ground lift [V].
            supply_follows: the whole lift is added to the output (the figure used in the shop);
                false for a supply that stays put, where the share (1 - output/supply) is added.
        """
        healthy = self.voltage(pressure)
        added = lift if supply_follows else lift * (1.0 - healthy / self.reference)
        return self.read(healthy + added)

    def sagged(self, pressure: float, reference: float) -> float:
        """Return the pressure [Pa] read when this branch's reference is only *reference* [V]."""
        return self.read(self.voltage(pressure, reference))


def reading_with(
    circuit: Thermistor,
    temperature: float,
    *,
    series: float = 0.0,
    shunt: float = math.inf,
    lift: float = 0.0,
    sag: float = 0.0,
    divider: bool = False,
) -> float:
    """Return what is read at *temperature* through a faulty circuit.

    Args:
        circuit: the sensor and its pull-up.
        temperature: true temperature [degC].
        series: resistance added in the loop [ohm]; reads colder.
        shunt: resistance across the sensor [ohm]; reads hotter.
        lift: sensor ground above the control unit's ground [V]; reads colder.
        sag: reference below its nominal value while the unit believes the nominal [V]; reads
            hotter. A unit that measures against the same reference does not notice a sag.
        divider: treat the lift exactly, V = lift + (reference - lift) r / (pull-up + r). False
            adds the whole lift at the input, as when the lift is measured at the input pin.

    Returns:
        The temperature read [degC]; nan outside the range a unit can read.
    """
    r = circuit.resistance(temperature) + series
    if math.isfinite(shunt):
        r = r * shunt / (r + shunt)
    supply = circuit.reference - sag
    share = r / (circuit.pull_up + r)
    voltage = lift + (supply - lift) * share if divider else lift + supply * share
    if not 0.0 < voltage < circuit.reference:
        return math.nan
    return circuit.read(voltage)


def added_series(circuit: Thermistor, temperature: float, reading: float) -> float:
    """Return the series resistance [ohm] that makes *temperature* read as the colder *reading*.

    Negative when the reading is hotter: then a shunt is at work, see :func:`added_shunt`.
    """
    return circuit.resistance(reading) - circuit.resistance(temperature)


def added_shunt(circuit: Thermistor, temperature: float, reading: float) -> float:
    """Return the resistance across the sensor [ohm] that makes it read the hotter *reading*.

    Infinite when the reading is not hotter.
    """
    true, seen = circuit.resistance(temperature), circuit.resistance(reading)
    return true * seen / (true - seen) if seen < true else math.inf


def ground_lift_for(circuit: Thermistor, temperature: float, reading: float) -> float:
    """Return the voltage added at the input [V] that makes *temperature* read as *reading*."""
    return circuit.voltage(reading) - circuit.voltage(temperature)
