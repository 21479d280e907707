"""What is said of what the models of the circuits make of the readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from witnessmark.units import QUANTITIES
from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import capital, listed

__all__ = ["PLACES", "place"]

#: Circuit -> its name in words.
_CIRCUITS: Mapping[str, str] = MappingProxyType(
    {
        "air": "air system",
        "start": "starting circuit",
        "bus_line": "bus line",
        "charge": "charging circuit",
        "rest": "truck at rest",
        "cooling": "cooling system on a pull",
        "stroke": "push rods",
    }
)
#: Circuit -> place -> in words.
PLACES: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "air": {
            "primary": "a leak on the primary side that is there with the brakes released",
            "primary_pedal": "a leak on the primary side that shows with the pedal down only",
            "secondary": "a leak on the secondary side that is there with the brakes released",
            "secondary_pedal": "a leak on the secondary side that shows with the pedal down only",
            "trailer": "a leak on the trailer",
            "supply": "a leak on the supply side, at the wet tank or what it feeds",
            "purge": "air lost at the dryer while it pumps",
            "outlet_check": "the dryer's outlet check valve letting air back",
            "service_check": "a service tank's check valve letting air back",
            "compressor": "too little air from the compressor, or too little to it",
            "passage": "a restriction between compressor and wet tank",
            "governor": "the governor off its setting",
            "gauge": "the gauge reading wrong",
        },
        "start": {
            "worn_battery": "a worn battery in the set",
            "flat_battery": "batteries that are discharged",
            "positive": "a joint or cable on the positive side",
            "ground_engine": "the ground between starter and frame",
            "ground_battery": "the ground between frame and battery",
            "solenoid": "the solenoid's contacts",
            "starter_open": "the starter taking too little current: brushes or windings",
            "hard": "something that turns too hard: starter, engine or what it drives",
            "no_command": "no command at the starter: switch, relay or an interlock",
        },
        "bus_line": {
            "elsewhere": "nothing in the line itself: a control unit, its feed or the reader",
            "one_open": "one terminator missing, or the line open on the way to it",
            "both_open": "both terminators out of reach of the meter",
            "third": "a third terminator",
            "short_pair": "the two wires touching",
            "high_ground": "the high wire touching ground",
            "low_ground": "the low wire touching ground",
            "high_plus": "the high wire touching a supply",
            "low_plus": "the low wire touching a supply",
            "corroded": "a corroded joint in the line",
        },
        "charge": {
            "alternator": "the alternator giving too little",
            "diode": "a diode of the alternator",
            "over": "the regulator holding too many volts",
            "belt": "the belt slipping",
            "positive": "a joint, cable or switch on the positive side of the charge circuit",
            "ground": "the ground between alternator and batteries",
            "sense": "the sense wire",
            "excite": "no command at the alternator: excite wire or message",
            "battery": "a battery that drags the others down",
            "load": "loads that are more than it gives",
            "gauge": "the dash reading wrong",
        },
        "rest": {
            "added_big": "a big added device left awake",
            "added_small": "a small added device fed past the key",
            "cab": "a lamp, relay or coil on a cab circuit",
            "module": "a control unit that does not go to sleep",
            "alternator": "current leaking back into the alternator",
            "battery": "a battery that discharges itself",
            "charge": "batteries that are never charged full",
            "film": "current over the battery's case",
            "switch": "the main switch not parting",
        },
        "cooling": {
            "outside": "too little air through a core that is covered or plugged outside",
            "inside": "radiator tubes plugged or scaled inside",
            "fan": "the fan turning too slowly",
            "flow": "too little coolant through the radiator: level, thermostat, pump or hose",
            "heat": "more heat into the coolant than this fuel should give",
            "display": "the display reading wrong",
        },
        "stroke": {
            "misadjusted": "a clearance that is too large and stays right once it is set",
            "adjuster": "an adjuster that lets go again",
            "foundation": "worn parts that give: bushings, cam, pins or drum",
            "seized": "a brake that is stiff and does not go back",
            "pressure": "too little pressure at the chamber",
            "arm": "a slack arm of another length than its mate",
            "chamber": "a chamber of another size than its mate",
        },
    }
)
#: What a circuit's readings are.
_READS: Mapping[str, str] = MappingProxyType(
    {
        "air": "the air lost in a minute with the engine off, the build time with its engine "
        "speed, or the governor's pressures",
        "start": "battery volts rested and while cranking, or a volt drop while cranking",
        "bus_line": "ohms between the two wires and to ground with the batteries off, or their "
        "volts",
        "charge": "battery volts with the engine running, the alternator's current with its engine "
        "speed, or a volt drop with the loads on",
        "rest": "the key-off current asleep, millivolts over fuses, or what the batteries lose",
        "cooling": "temperatures of one steady pull with the fan on: both hoses, the air outside, "
        "with fan speed and fuel rate",
        "stroke": "push-rod strokes of one axle at 90 psi: applied, by hand, and after it was set",
    }
)
#: What a circuit has to take for known.
_TAKEN: Mapping[str, str] = MappingProxyType(
    {
        "air": "Tank volumes (about 100 L in all), the compressor's size and its speed are not "
        "known and are taken from memory with their scatter; a tank volume from the plates "
        "narrows it.",
        "start": "A 12-volt heavy diesel is taken: cable and winding resistance, drag and battery "
        "size from memory with their scatter.",
        "bus_line": "Two terminators of 120 ohm are taken, and control units that load the line "
        "little.",
        "charge": "A 12-volt heavy diesel with lamps and blower on is taken: the alternator's "
        "size, its pulleys, cables and batteries from memory with their scatter.",
        "rest": "A 12-volt bank of about 280 Ah is taken, its fuses' ratings are not known; a "
        "truck that sleeps draws about 0.04 A.",
        "cooling": "The core's size, the pump's and the fan's flow and the share of the fuel's "
        "power that goes to the coolant are not known and are taken from memory with their "
        "scatter. All readings are taken to be of one steady pull with the fan told to run.",
        "stroke": "A drum brake with a clamp-type chamber is taken, its mate as the measure. The "
        "limit of its chamber is 49 CFR 393.47(e) and is held against a stroke in the inspection.",
    }
)
_UNITS: Mapping[str, str] = MappingProxyType(
    {"mohm": "mΩ", "x": "times the usual load", "clearance": "times the right clearance",
     "A more": "A more than usual"}
)  # fmt: skip
_AS = MappingProxyType(
    {
        "mm": "as big as a hole of {} mm across",
        "%": "{} % is left",
        "% a day": "it loses {} % a day",
        "% slip": "it slips {} %",
        "% covered": "{} % of the core is covered",
        "% speed": "it turns at {} % of its full speed",
    }
)
#: Decimals of a size by its unit; one where nothing stands.
_DIGITS = MappingProxyType({**dict.fromkeys(_AS, 0), "mm": 1, "psi": 0, "A": 2, "A more": 0})


@sentence("circuit.place", circuit="air", key="primary")
def place(circuit: str, key: str) -> str:
    """Name a place that may be at fault."""
    return PLACES[circuit][key]


def _count(readings: int) -> str:
    return "1 reading" if readings == 1 else f"{readings} readings"


def _head(circuit: str, readings: int) -> str:
    return f"The model of the {_CIRCUITS[circuit]}, from {_count(readings)}"


@sentence("circuit.not_run", circuit="air")
def not_run(circuit: str) -> str:
    """Say that a model did not run."""
    return f"The model of the {_CIRCUITS[circuit]} did not run."


@sentence("circuit.no_reading", circuit="air")
def no_reading(circuit: str) -> str:
    """Name what is missing."""
    return f"missing: {_READS[circuit]}"


@sentence("circuit.no_state", quantity="battery_voltage")
def no_state(quantity: str) -> str:
    """Say that a reading has no state of the engine."""
    return f"{capital(QUANTITIES[quantity].words)}: it is not written what the engine did."


@sentence("circuit.states", wanted=["off", "cranking"])
def states(wanted: Sequence[str]) -> str:
    """Ask for the state of the engine."""
    told = [w for w in dict.fromkeys(wanted) if w]
    return (
        f"Write with it what the engine did: {listed([w.replace('_', ' ') for w in told], 'or')}."
    )


@sentence("circuit.no_fault_known", circuit="start", readings=6)
def no_fault_known(circuit: str, readings: int) -> str:
    """Say that no fault of the model explains the readings."""
    return f"{_head(circuit, readings)}: no fault it knows explains them; check the readings first."


@sentence("circuit.found_healthy", circuit="air", readings=4, sure=True)
def found_healthy(circuit: str, readings: int, sure: bool) -> str:
    """Say that the readings are those of a sound circuit, or most likely so."""
    if sure:
        return f"{_head(circuit, readings)}: a sound one would read like this."
    return f"{_head(circuit, readings)}: that nothing is wrong is likelier than any one fault."


@sentence("circuit.found_place", circuit="start", readings=5, places=["ground_engine"], sure=True,
          size=" About 2.1 (1.6 to 2.9) mΩ.")  # fmt: skip
def found_place(circuit: str, readings: int, places: Sequence[str], sure: bool, size: str) -> str:
    """Name the place, or the places that these readings cannot part."""
    head = "points to" if sure else "suspected first is"
    named = [place(circuit, p) for p in places]
    if len(named) == 1:
        return f"{_head(circuit, readings)}: {head} {named[0]}.{size}"
    return f"{_head(circuit, readings)}: {head} one of these, which they cannot part: " + (
        f"{'; '.join(named)}."
    )


@sentence("circuit.not_decided", circuit="start", readings=2, places=["worn_battery", "hard"])
def not_decided(circuit: str, readings: int, places: Sequence[str]) -> str:
    """Say between which places it is open."""
    named = [place(circuit, p) for p in places]
    if len(named) < 2:
        return f"{_head(circuit, readings)}: not decided."
    return f"{_head(circuit, readings)}: not decided between these: {'; '.join(named)}."


@sentence("circuit.size", circuit="air", spot="primary", middle=0.7, low=0.5, high=1.0, unit="mm")
def size(circuit: str, spot: str, middle: float, low: float, high: float, unit: str) -> str:
    """Say how big a fault is, with the range it lies in nine times in ten; begins with a space."""
    del circuit, spot
    digits = _DIGITS.get(unit, 1)
    told = f"{middle:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"
    if unit in _AS:
        return f" {capital(_AS[unit].format(told))}."
    return f" About {told} {_UNITS.get(unit, unit)}."


@sentence("circuit.found_earlier", circuit="air", readings=4)
def found_earlier(circuit: str, readings: int) -> str:
    """Say that these readings are from before the work."""
    return f"{_head(circuit, readings)} before the work."


@sentence("circuit.short", circuit="air", earlier=True)
def short(circuit: str, earlier: bool) -> str:
    """Name the finding as a piece of evidence."""
    text = f"the readings, by the model of the {_CIRCUITS[circuit]}"
    return f"{text}, before later work" if earlier else text


@sentence("circuit.contradict")
def contradict() -> str:
    """Say why a finding of a model is not clear."""
    return "the readings contradict each other or the model"


@sentence("circuit.assumption")
def assumption() -> str:
    """Say what a model assumes."""
    return (
        "The shares of the faults, their sizes and the scatter of sound parts are assumed, from "
        "memory; no real truck was measured with it."
    )


@sentence("circuit.sizes_assumed", circuit="air")
def sizes_assumed(circuit: str) -> str:
    """Name what of the truck is not known."""
    return _TAKEN[circuit]


@sentence("circuit.stages_apart")
def stages_apart() -> str:
    """Say that readings before and after work are weighed apart."""
    return "Readings before and after work are weighed each by themselves."


@sentence("circuit.forecast", quantity="air_loss_released", value="0.8", low="0.2", high="1.9",
          unit="psi", chance="over 99 %")  # fmt: skip
def forecast(quantity: str, value: str, low: str, high: str, unit: str, chance: str) -> str:
    """Say what a repair should make an instrument read."""
    text = f"would read {value} ({low} to {high}) {unit}, {QUANTITIES[quantity].words}"
    return f"{text}; chance to be in band {chance}" if chance else text


@sentence("circuit.expected", quantity="crank_drop_ground", value="0.4", low="0.1", high="2.2",
          unit="V")  # fmt: skip
def expected(quantity: str, value: str, low: str, high: str, unit: str) -> str:
    """Say what a reading is expected to show."""
    return f"expected {value} ({low} to {high}) {unit}, {QUANTITIES[quantity].words}"


@sentence("circuit.range", quantity="crank_drop_ground", low="0.3", high="1.1", unit="V")
def reading_range(quantity: str, low: str, high: str, unit: str) -> str:
    """Name a range that a reading may fall into."""
    words = QUANTITIES[quantity].words
    if low and high:
        return f"{low} to {high} {unit}, {words}"
    if not (low or high):
        return f"any, {words}"
    return f"above {low} {unit}, {words}" if low else f"below {high} {unit}, {words}"
