"""Sensor or real: what a reading that jumps, steps or stands still says of sensor and circuit.

The switching filter, the circuits and their sources stand in ``physics.sensors`` and
docs/sensor_or_real.md.
"""

from __future__ import annotations

from witnessmark.inference.analysis_plug import AnalysisModel
from witnessmark.inference.models import Example, Need, Traits
from witnessmark.words.say import needs

__all__ = ["MODEL"]


def _examples() -> tuple[Example, ...]:
    """Return what the circuit of a thermistor makes of a resistance and of a lifted ground."""
    from witnessmark.physics.sensors.sensor_circuit import (
        Thermistor,
        added_series,
        ground_lift_for,
    )

    one = Thermistor(r25=2800.0, b=3700.0, pull_up=1000.0, reference=5.0)
    hot = 1.0 / (1.0 / 298.15 - 0.5 / 3700.0) - 273.15  # where R falls by exp(0.5)
    low = 2800.0 * 2.718281828459045**-0.5
    return (
        Example(
            "voltage at 25 degC", lambda: one.voltage(25.0), 5.0 * 2800.0 / 3800.0, 1e-9, "exact",
            "voltage divider: U = U0 R / (R + R_pull-up)",
        ),
        Example(
            "contact resistance that reads a hot sensor as 25 degC",
            lambda: added_series(one, hot, 25.0), 2800.0 - low, 1e-6, "exact",
            "resistances in series add; R(T) = R25 exp(B (1/T - 1/T25)), IEC 60539-1 (from memory)",
        ),
        Example(
            "ground lift that reads a hot sensor as 25 degC",
            lambda: ground_lift_for(one, hot, 25.0),
            5.0 * 2800.0 / 3800.0 - 5.0 * low / (1000.0 + low), 1e-6, "exact",
            "difference of the two divider voltages",
        ),
    )  # fmt: skip


MODEL = AnalysisModel(
    id="sensors",
    version="1",
    needs=(
        Need(
            needs.bus_recording(),
            recordings=frozenset({"bus", "table", "waveform", "tooth_timing"}),
        ),
        Need(
            needs.gauge_beside(),
            quantities=frozenset(
                {
                    "oil_pressure",
                    "fuel_gallery_pressure",
                    "boost_pressure",
                    "transmission_oil_pressure",
                    "battery_voltage",
                }
            ),
            beside_recording=True,
        ),
        Need(
            needs.cold_soak(),
            quantities=frozenset(
                {
                    "coolant_temperature",
                    "coolant_housing_temperature",
                    "oil_temperature",
                    "fuel_temperature",
                    "intake_air_temperature",
                    "ambient_temperature",
                    "air_inlet_temperature",
                    "transmission_oil_temperature",
                }
            ),
        ),
    ),
    traits=Traits(),
    modules=(
        "witnessmark.analyses.together.bus_circuit",
        "witnessmark.analyses.together.bus_damage",
        "witnessmark.analyses.together.sensor_or_real",
        "witnessmark.analyses.sensors.cross_checks",
        "witnessmark.analyses.sensors.sensor_drift",
    ),
    numbers=_examples,
)
