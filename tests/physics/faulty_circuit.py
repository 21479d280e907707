"""A sensor circuit with a fault in it, worked forward. Not a test itself."""

from __future__ import annotations

import math

from witnessmark.physics.sensors.sensor_circuit import Thermistor


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
