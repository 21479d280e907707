"""Sentences about what a trace would ask of the coolant, in the shop's numbers."""

from __future__ import annotations

import math

import numpy as np

from witnessmark.analyses.sensors.circuit_ratios import INPUTS
from witnessmark.analyses.sensors.liveliness import Profile
from witnessmark.analyses.sensors.one_trace import TraceSpan, TraceVerdict
from witnessmark.physics.sensors.coolant_rates import Lag, medium_step_needed
from witnessmark.physics.sensors.sensor_circuit import (
    Thermistor,
    added_series,
    added_shunt,
    ground_lift_for,
)
from witnessmark.units import QUANTITIES, UNITS, display_unit

__all__ = [
    "Electrical",
    "chance_words",
    "difference",
    "electrical",
    "jumps_sentence",
    "pressure_sentence",
    "quiet_words",
]


class Electrical:
    """What in the circuit would make the typical jump of a trace.

    Attributes:
        series: added resistance in the loop [ohm], ``None`` when it reads hotter.
        shunt: resistance across the sensor [ohm], ``None`` when it reads colder.
        lift: voltage added at the input [V].
    """

    def __init__(self, base: float, change: float) -> None:
        circuit = Thermistor()
        low, high = -38.0, 180.0
        true = min(max(base, low), high)
        read = min(max(base + change, low), high)
        self.series = added_series(circuit, true, read) if change < 0 else None
        self.shunt = added_shunt(circuit, true, read) if change > 0 else None
        self.lift = ground_lift_for(circuit, true, read)

    def words(self) -> str:
        """Return it as a phrase."""
        if self.series is not None:
            return (
                f"an added {_two(self.series)} ohm in the circuit or {_two(1e3 * self.lift)} mV "
                "of lifted sensor ground would do it"
            )
        if self.shunt is not None and math.isfinite(self.shunt):
            return f"a leak of {_two(self.shunt)} ohm across the sensor would do it"
        return "a fault in the circuit would do it"


def electrical(verdict: TraceVerdict, change: float) -> Electrical:
    """Return what in a generic circuit would make the typical jump."""
    return Electrical(float(np.median(verdict.trace.values)), change)


def difference(quantity: str, change: float) -> str:
    """Return a difference of a quantity in shop units with the SI value in brackets."""
    if QUANTITIES[quantity].kind == "temperature":
        return f"{1.8 * change:.0f} degF ({change:.0f} degC)"
    return f"{change:.3g} {QUANTITIES[quantity].house}"


def chance_words(log_factor: float) -> str:
    """Return a log Bayes factor as odds in words, never stronger than the model is trusted."""
    odds = math.exp(min(abs(log_factor), 20.0))
    if odds > 1000.0:
        return "more than 1000 to 1"
    return f"about {_two(odds)} to 1"


def jumps_sentence(
    quantity: str,
    verdict: TraceVerdict,
    profile: Profile,
    change: float,
    spans: tuple[TraceSpan, ...],
) -> str:
    """Return the one sentence about jumps that the circuit made."""
    words = QUANTITIES[quantity].words if quantity != "coolant_temperature" else "coolant"
    name = quantity.replace("_", " ")
    many = len(spans)
    way = "drops" if change < 0 else "jumps up"
    typical = min(spans, key=lambda s: abs(abs(s.change) - abs(change)))
    rise = max(typical.rise_s, 0.05)
    lag = Lag()
    low = abs(medium_step_needed(change, rise, profile.lag))
    high = abs(medium_step_needed(change, rise, lag.high))
    back = sum(s.returned for s in spans)
    came = "and back" if back * 2 >= many else "and stays there"
    needed = f"{low:.0f} to {high:.0f} degC" if high < 300.0 else "hundreds of degC"
    rate = profile.credible
    length = float(np.median([s.end_s - s.start_s for s in spans])) + rise
    return (
        f"The {name} {way} by {difference(quantity, abs(change))} within {rise:.2g} s, "
        f"{many} time{'s' if many != 1 else ''}, for about {length:.2g} s {came}. To read this, "
        f"the {words} would have to jump {needed} at once {came}; "
        f"the largest credible is about {rate:.0f} degC/s"
        + (f"; {electrical(verdict, change).words()}" if profile.thermistor else "")
        + f". Odds against a real change: {chance_words(verdict.log_factor)}."
    )


def pressure_sentence(
    quantity: str,
    verdict: TraceVerdict,
    profile: Profile,
    change: float,
    spans: tuple[TraceSpan, ...],
) -> str:
    """Return the one sentence about jumps of a pressure that the engine's work does not make."""
    name, many = quantity.replace("_", " "), len(spans)
    unit = display_unit(quantity)
    factor = UNITS[QUANTITIES[quantity].house].factor / UNITS[unit].factor
    typical = min(spans, key=lambda s: abs(abs(s.change) - abs(change)))
    rise = max(typical.rise_s, 0.05)
    length = float(np.median([s.end_s - s.start_s for s in spans])) + rise
    back = sum(s.returned for s in spans) * 2 >= many
    circuit = INPUTS[quantity]
    level = float(circuit.share(np.array([np.median(verdict.trace.values)]))[0])
    moved = abs(change) * (circuit.high - circuit.low) / circuit.span
    if change < 0.0:
        cause = f"a dip of its 5 V supply to {5.0 * max(1.0 - moved / level, 0.0):.1f} V"
        other = (
            "; a pickup or a suction that draws air would do it too: a mechanical gauge at the "
            "same instant settles it"
            if quantity in {"oil_pressure", "fuel_delivery_pressure"}
            else ""
        )
    else:
        cause = f"{_two(5e3 * moved / (1.0 - level))} mV of lifted sensor ground"
        other = ""
    explained = "what speed and load explain" if verdict.trace.work is not None else "it"
    return (
        f"The {name} {'drops' if change < 0 else 'jumps up'} by {_three(abs(change) * factor)} "
        f"{unit} within {rise:.2g} s beyond {explained}, {many} time{'s' if many != 1 else ''}, "
        f"for about {length:.2g} s {'and back' if back else 'and stays there'}; the largest "
        f"credible is about {_three(profile.credible * factor)} {unit} a second "
        f"({profile.source.split(': ')[-1]}). An open or shorted pin, or {cause} would do it"
        f"{other}. Odds against a smooth change: {chance_words(verdict.log_factor)}."
    )


def quiet_words(quantity: str, glitch: dict[float, float], interval: float) -> str:
    """Return what "nothing seen" leaves open at this broadcast rate."""
    parts = [
        f"{difference(quantity, size)} for {seconds:.2g} s"
        for seconds, size in sorted(glitch.items())
        if math.isfinite(size)
    ]
    shown = " or ".join(parts[:2]) if parts else "none that a sensor makes"
    return (
        f"At one reading every {interval:.2g} s the smallest glitch that would show "
        f"is {shown}; one shorter than {interval / 2:.2g} s is missed more often than not. This "
        "does not prove the sensor good."
    )


def _three(value: float) -> str:
    return f"{value:.3g}"


def _two(value: float) -> str:
    if value == 0.0:
        return "0"
    digits = 1 - math.floor(math.log10(abs(value)))
    return f"{round(value, digits):.{max(digits, 0)}f}"
