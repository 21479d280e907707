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
    "added_series",
    "added_shunt",
    "ground_lift_for",
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
