"""How lively each quantity really is: what its sensor may be asked to believe.

Every figure is in the house unit of the quantity. Rates of liquids follow from the heat balance
(``physics/sensors/coolant_rates.py``); the others are common practice, no source, and chosen so
that the real recordings of warm-ups, rides and traffic stay inside.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from witnessmark.physics.sensors.switching_filter import FilterMode, Hypothesis

__all__ = ["BOUNDS", "PRESSURES", "PROFILES", "RARE", "Bound", "Profile", "hypotheses"]


@dataclass(frozen=True, slots=True)
class Profile:
    """What a slow quantity and its sensor can do.

    Attributes:
        scale: amount that corresponds to 1 degC of coolant, in the house unit.
        rate: usual wander of its rate [scale/s].
        brisk: the same in lively stretches [scale/s].
        local: rate just after a sudden change at the sensor [scale/s].
        lag: time constant of the sensor [s].
        offset: usual size of a contact fault [scale].
        credible: fastest real change of the reading [house unit/s].
        thermistor: read through a two-wire thermistor.
        source: where the figures come from.
    """

    scale: float
    rate: float
    brisk: float
    local: float
    lag: float
    offset: float
    credible: float
    thermistor: bool = True
    source: str = "heat balance, common practice"


#: Added to the name of an explanation whose faults come seldom.
RARE = "_rare"
#: Contact faults an explanation expects, often and seldom [1/s].
OFTEN, SELDOM = 0.004, 0.0004
_LIQUID = "heat balance of the engine's own coolant, sensor lag 3 to 10 s"
_PRACTICE = "common practice, no source"

#: Quantity -> profile. Only these are judged by the switching filter.
PROFILES: dict[str, Profile] = {
    "coolant_temperature": Profile(1.0, 0.12, 0.75, 2.5, 4.0, 7.0, 3.0, source=_LIQUID),
    "oil_temperature": Profile(1.0, 0.08, 0.5, 1.5, 6.0, 7.0, 2.0, source=_LIQUID),
    "transmission_oil_temperature": Profile(1.0, 0.08, 0.5, 1.5, 6.0, 7.0, 2.0, source=_LIQUID),
    "fuel_temperature": Profile(1.0, 0.08, 0.5, 1.5, 6.0, 7.0, 2.0, source=_PRACTICE),
    "ambient_temperature": Profile(1.0, 0.08, 0.4, 1.0, 10.0, 7.0, 1.0, source=_PRACTICE),
    "air_inlet_temperature": Profile(1.0, 0.3, 1.0, 2.5, 5.0, 10.0, 3.0, source=_PRACTICE),
    "intake_air_temperature": Profile(1.0, 0.4, 1.5, 4.0, 3.0, 15.0, 5.0, source=_PRACTICE),
}


def _pressure(scale: float, credible: float, why: str) -> Profile:
    return Profile(scale, 0.12, 0.75, 2.5, 2.0, 7.0, credible, False, f"{_PRACTICE}: {why}")


#: Pressures: what is left of them after the engine's work is judged by the same filter.
PRESSURES: dict[str, Profile] = {
    "oil_pressure": _pressure(1.4e4, 5.0e4, "the pump follows the engine speed"),
    "fuel_delivery_pressure": _pressure(1.4e4, 5.0e4, "the pump follows the engine speed"),
    "coolant_pressure": _pressure(7.0e3, 1.0e4, "it follows the coolant and the pump"),
    "boost_pressure": _pressure(2.0e4, 1.0e5, "the turbocharger follows speed and load"),
    "intake_manifold_pressure": _pressure(2.0e4, 1.0e5, "it follows speed and load"),
    "exhaust_back_pressure": _pressure(1.0e4, 5.0e4, "it follows speed and load"),
    "barometric_pressure": _pressure(1.0e3, 500.0, "40 m of height in a second"),
}


@dataclass(frozen=True, slots=True)
class Bound:
    """Fastest change that the machine can bring about, for quantities that live fast.

    Attributes:
        rate: [house unit/s].
        grain: a change below this is never called too fast [house unit].
        why: the reason in words.
        source: where it comes from.
        floor: a reading that falls below this out of more than twice as much cannot be back
            within seconds (an engine that stands has to be cranked); ``None``: no such floor.
    """

    rate: float
    grain: float
    why: str
    source: str = _PRACTICE
    floor: float | None = None


#: Quantity -> bound. A change beyond it and back is reported, without a probability.
BOUNDS: dict[str, Bound] = {
    "engine_speed": Bound(
        6000.0, 400.0, "a free revving engine gains at most this much", floor=250.0
    ),
    "road_speed": Bound(10.0, 2.5, "one g of braking, and no truck gains as much"),
    "oil_pressure": Bound(1.0e6, 1.5e5, "the pump follows the engine speed"),
    "fuel_delivery_pressure": Bound(1.0e6, 1.5e5, "the pump follows the engine speed"),
    "boost_pressure": Bound(2.0e5, 5.0e4, "the turbocharger needs time to spin up"),
    "barometric_pressure": Bound(500.0, 2000.0, "40 m of height in a second"),
    "battery_voltage": Bound(60.0, 8.0, "a load drop without a battery"),
    "fuel_level": Bound(10.0, 25.0, "fuel sloshes, it does not appear"),
    "coolant_pressure": Bound(5.0e4, 5.0e4, "coolant warms slowly"),
}


@cache
def hypotheses(profile: Profile) -> dict[str, Hypothesis]:
    """Return the rival explanations of a trace, the real one first.

    ``real``: calm, lively, and a sudden change at the sensor that it follows with its lag (a
    cold slug, gas) and that may go as suddenly. The others add to it what a circuit can do:
    ``contact`` an offset without lag that comes and goes, ``spikes`` single wild samples,
    ``noise`` a noisy stretch. How often a fault comes is not known: contact and spikes are asked
    twice, once for many an hour and once (``RARE``) for a tenth of that.
    """
    calm = FilterMode("calm", profile.rate, 6.0)
    base = (
        calm,
        FilterMode("brisk", 1.2 * profile.brisk, 5.0, begins=0.02, ends=0.05),
        # Two of them: what came suddenly (gas, a slug) goes as suddenly, and back to back.
        *(
            FilterMode(name, max(0.3, profile.rate), share * profile.lag, "new_rate", profile.local,
                 begins=0.0005, ends=0.1)
            for name, share in (("local", 0.75), ("local_again", 1.25))
        ),
    )  # fmt: skip
    found = {"real": Hypothesis("real", base)}
    for name, share in (("", 1.0), (RARE, 0.1)):
        found["contact" + name] = Hypothesis("contact" + name, (*base, *_contact(profile, share)))
        spike = FilterMode("spike", profile.rate, 6.0, noise=15.0, begins=0.009 * share, ends=3.0)
        found["spikes" + name] = Hypothesis("spikes" + name, (*base, spike))
    noisy = FilterMode("noisy", profile.rate, 6.0, noise=2.5, begins=0.0002, ends=0.005)
    found["noise"] = Hypothesis("noise", (*base, noisy))
    return found


def _contact(profile: Profile, share: float) -> tuple[FilterMode, ...]:
    rate, size = profile.rate, profile.offset
    return (
        FilterMode("short", rate, 6.0, "new_offset", size, begins=0.003 * share, ends=0.3),
        FilterMode("long", rate, 6.0, "new_offset", size, begins=0.0007 * share, ends=0.01),
        FilterMode("open", rate, 6.0, "new_offset", 60.0, begins=0.0003 * share, ends=0.2),
    )
