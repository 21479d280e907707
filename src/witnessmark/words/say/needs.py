"""What a physical model reads, in words: said where it is missing."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence


@sentence("need.shake_recording")
def shake_recording() -> str:
    """Name the recording that the shake is read from."""
    return "a vibration recording with engine speed, and the road speed of the same drive"


@sentence("need.joint_angles")
def joint_angles() -> str:
    """Name the joint angles."""
    return "the working angle of every joint"


@sentence("need.shafts")
def shafts() -> str:
    """Name the shafts."""
    return "the propeller shafts of the truck"


@sentence("need.tooth_timing")
def tooth_timing() -> str:
    """Name the timing of the crank."""
    return "the timing of a wheel on the crankshaft over a slow sweep, warm"


@sentence("need.twist")
def twist() -> str:
    """Name the twist read elsewhere."""
    return "the twist read off another instrument"


@sentence("need.fuel_reading")
def fuel_reading() -> str:
    """Name the fuel readings."""
    return "a fuel pressure, flow or vacuum reading with its engine speed"


@sentence("need.bus_recording")
def bus_recording() -> str:
    """Name the recording of the bus."""
    return "a recording of the data bus, with the doubtful reading and what shares its wiring"


@sentence("need.gauge_beside")
def gauge_beside() -> str:
    """Name the gauge beside the bus."""
    return "a gauge beside the bus"


@sentence("need.cold_soak")
def cold_soak() -> str:
    """Name the temperatures at cold soak."""
    return "temperatures at cold soak, or a probe at the housing"


@sentence("need.all_heat")
def all_heat() -> str:
    """Name the fastest rise of the whole coolant."""
    return "all heat of full load staying in the engine's own coolant"


@sentence("need.cold_slug", colder=30.0)
def cold_slug(colder: float) -> str:
    """Name the fastest change at the sensor."""
    return f"a slug {colder:.0f} degC colder arriving at once at the sensor"


@sentence("need.air_reading")
def air_reading() -> str:
    """Name the readings of the air system."""
    return "air lost in a minute with the engine off, a build time, or the governor's pressures"


@sentence("need.crank_reading")
def crank_reading() -> str:
    """Name the readings of the starting circuit."""
    return "battery volts rested and while cranking, volt drops while cranking, or the current"


@sentence("need.bus_ohms")
def bus_ohms() -> str:
    """Name the readings of the bus line."""
    return "ohms between the two bus wires and to ground with the batteries off, or their volts"


@sentence("need.charge_reading")
def charge_reading() -> str:
    """Name the readings of the charging circuit."""
    return "battery volts with the engine running, the alternator's current, or a volt drop with it"


@sentence("need.rest_reading")
def rest_reading() -> str:
    """Name the readings of a truck at rest."""
    return "the key-off current asleep, millivolts over fuses, or what the batteries lose"


@sentence("need.cooling_reading")
def cooling_reading() -> str:
    """Name the readings of a steady pull."""
    return "hose, air and charge-air temperatures of one steady pull, with fan speed and fuel rate"


@sentence("need.stroke_reading")
def stroke_reading() -> str:
    """Name the readings of a push rod."""
    return "push-rod strokes of one axle: applied, by hand, and after it was set"
