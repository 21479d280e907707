"""What is said of what the model of the fuel supply makes of the readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

from witnessmark.words.catalogue import sentence
from witnessmark.words.strength import capital, listed

#: Zone of the pack -> in words.
ZONE_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "supply": "the transfer pump or its relief valve",
        "return": "the return side or a gallery leak",
        "filter": "the pressure side between pump and gallery",
        "suction": "the suction side",
        "gauge": "the gauge or sensor",
        "other": "something the model does not hold",
    }
)
#: Group of faults that the model cannot tell apart -> in words.
GROUP_WORDS: Mapping[str, str] = MappingProxyType(
    {
        "relief": "relief valve in the transfer pump",
        "return": "return pressure regulator",
        "filter": "secondary filter or another restriction after the pump",
        "pump": "worn or slipping transfer pump",
        "suction": "restriction before the pump",
        "air": "air drawn in before the pump",
        "leak": "leak from the gallery past injector seals",
        "gauge": "gauge or sensor reading wrong",
        "other": "something the model does not hold",
    }
)
#: Two groups that look the same -> what tells them apart.
APART_WORDS: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        ("relief", "pump"): "take the relief valve out and look at seat and spring first (cheap), "
        "then compare hot with cold fuel: a worn pump falls off hot, a leaking seat does not",
        ("leak", "return"): "fuel in the oil, or bypass the regulator; they follow the same law "
        "at the same place",
        ("relief", "gauge"): "a second gauge tells at once; return flow is normal if the gauge "
        "is wrong",
        ("pump", "air"): "a clear hose before the pump",
        ("air", "suction"): "the suction vacuum: high with a restriction, low with air",
    }
)


def _count(readings: int) -> str:
    return "1 reading" if readings == 1 else f"{readings} readings"


@sentence("fuel.none_fits")
def none_fits() -> str:
    """Say that no modelled fault explains the readings."""
    return "No fault of the fuel supply model fits the readings; check the readings first."


@sentence("fuel.assumption")
def assumption() -> str:
    """Say what the model assumes."""
    return (
        "The shares of the faults, their sizes and the scatter of healthy parts are assumed until "
        "the shop has its own history."
    )


@sentence("fuel.healthy")
def healthy() -> str:
    """Say that the readings are those of a healthy supply."""
    return "The readings fit a healthy supply."


@sentence("fuel.perhaps_healthy")
def perhaps_healthy() -> str:
    """Say that nothing wrong is likelier than any one fault, and what would tell."""
    return (
        "That nothing is wrong is likelier than any one fault. What is left hides without load: "
        "read the pressure on a pull, the vacuum and the return flow."
    )


@sentence("fuel.side", word="likely", zone="suction")
def side(word: str, zone: str) -> str:
    """Say which side it is and how sure that is."""
    return f"{capital(word)}: {ZONE_WORDS[zone]}."


@sentence("fuel.likeliest_side", zone="suction")
def likeliest_side(zone: str) -> str:
    """Say which side is the likeliest where that is not sure."""
    return f"Likeliest side: {ZONE_WORDS[zone]}."


@sentence("fuel.part", word="likely", part="relief valve in the transfer pump")
def part(word: str, part: str) -> str:
    """Say which part it is and how sure that is."""
    return f"{capital(word)} the {part}."


@sentence("fuel.look_at_seat", pump="worn or slipping transfer pump")
def look_at_seat(pump: str) -> str:
    """Say that the pump waits for a look at its valve."""
    return (
        f"{capital(pump)} looks the same as a relief valve that leaks at its seat: "
        "not decided before a look at the valve."
    )


@sentence("fuel.not_decided", parts=["return pressure regulator", "air drawn in before the pump"])
def not_decided(parts: Sequence[str]) -> str:
    """Say between which parts it is open."""
    return f"Not decided between {listed(list(parts))}." if len(parts) > 1 else "Not decided."


@sentence("fuel.measure_next", what="suction vacuum at idle")
def measure_next(what: str) -> str:
    """Say what to measure next."""
    return f"Measure next: {what}."


@sentence("fuel.no_fault_known", readings=4)
def no_fault_known(readings: int) -> str:
    """Say, as a finding, that the model knows no fault that explains the readings."""
    return f"The fuel circuit model explains the {_count(readings)} by no fault it knows."


@sentence("fuel.found_healthy", readings=4)
def found_healthy(readings: int) -> str:
    """Say, as a finding, that the supply is healthy by its readings."""
    return f"The fuel circuit model takes the {_count(readings)} for those of a healthy supply."


@sentence("fuel.found_perhaps_healthy", readings=2)
def found_perhaps_healthy(readings: int) -> str:
    """Say, as a finding, that nothing wrong is likelier than any one fault."""
    return (
        f"The fuel circuit model, from {_count(readings)}: that nothing is wrong is likelier than "
        "any one fault."
    )


@sentence("fuel.found_side", readings=4, zone="supply", then="return")
def found_side(readings: int, zone: str, then: str) -> str:
    """Say, as a finding, which side it is."""
    text = f"The fuel circuit model, from {_count(readings)}: likeliest side is {ZONE_WORDS[zone]}"
    return text + (f", then {ZONE_WORDS[then]}." if then else ".")


@sentence("fuel.found_earlier", readings=4)
def found_earlier(readings: int) -> str:
    """Say, as a finding, that these readings are from before the work."""
    return f"The fuel circuit model, from {_count(readings)} before the work."


@sentence("fuel.short", earlier=True)
def short(earlier: bool) -> str:
    """Name the model's finding as a piece of evidence."""
    text = "the fuel readings, by the model of the circuit"
    return f"{text}, before later work" if earlier else text


@sentence("fuel.contradict")
def contradict() -> str:
    """Say why a finding of the model is not clear."""
    return "the readings contradict each other or the model"


@sentence("fuel.type", known=True)
def engine_type(known: bool) -> str:
    """Say whose healthy pressures are taken."""
    if known:
        return "Engine type known from the shop's own healthy readings."
    return "Engine type not known: the trade's usual healthy pressures are taken."


@sentence("fuel.draws", effective=140.0)
def draws(effective: float) -> str:
    """Say how many draws carry the weight; never on a first screen."""
    return f"Effective number of draws: {effective:.0f}."


@sentence("fuel.few_draws")
def few_draws() -> str:
    """Say that the numbers are rough."""
    return "Few draws carry the weight; the percentages are rough."


@sentence("fuel.thin_draws")
def thin_draws() -> str:
    """Say that the numbers are rough and were held wider for it."""
    return "Very few draws carry the weight: it ran thin, and what it says was held wider for it."


@sentence("fuel.not_run")
def not_run() -> str:
    """Say that the model did not run."""
    return "The fuel supply model did not run."


@sentence("fuel.rail_engine")
def rail_engine() -> str:
    """Say that the model is not of this engine."""
    return "the model is of a gallery-fed supply, not a rail engine"


@sentence("fuel.no_reading")
def no_reading() -> str:
    """Say that nothing was read that the model could use."""
    return "no fuel pressure, flow or vacuum reading with its engine speed"


@sentence("fuel.none_possible")
def none_possible() -> str:
    """Say that no reading can be as it is written."""
    return "No fuel reading is possible as written; check the readings first."


@sentence("fuel.none_usable")
def none_usable() -> str:
    """Say that no reading is left."""
    return "no usable reading"


@sentence("fuel.forecast", value="74", low="68", high="80", unit="psi", point="1,800 rpm",
          chance="over 99 %")  # fmt: skip
def forecast(value: str, low: str, high: str, unit: str, point: str, chance: str) -> str:
    """Say what a repair should make the gauge read."""
    text = f"would read {value} ({low} to {high}) {unit} at {point}"
    return f"{text}; chance to be in band {chance}" if chance else text


@sentence("fuel.gauge_known", calibrated=True)
def gauge_known(calibrated: bool) -> str:
    """Say that a gauge whose accuracy is known is less likely wrong."""
    known = "accuracy and calibration are" if calibrated else "accuracy is"
    return f"The gauge's {known} written down: a plainly wrong one is less likely."


@sentence("fuel.gauge_known_short")
def gauge_known_short() -> str:
    """Name that as a piece of evidence."""
    return "the gauge's accuracy is known"


@sentence("fuel.gauge_source")
def gauge_source() -> str:
    """Say what that rests on."""
    return "Judgement, no source: a gauge whose accuracy is known is plainly wrong less often."


@sentence("fuel.impossible_do", figure="5.1", unit="bar", left_out=True)
def write_in(figure: str, unit: str, left_out: bool) -> str:
    """Ask whether a figure was read in another unit."""
    return f"If {figure} was read in {unit}, write it so." + (
        " The reading was left out." if left_out else ""
    )


@sentence("fuel.check_unit")
def check_unit() -> str:
    """Ask for the unit and the port of a figure that no circuit shows."""
    return "Check the unit and the port, and measure again; the reading was left out."


@sentence("fuel.stuck_shut")
def stuck_shut() -> str:
    """Say what the model does not hold."""
    return (
        " Hold a second gauge against it before anything else. A relief valve stuck shut or a "
        "blocked return is not in the model."
    )


@sentence("fuel.limit", quantity="pressure", above=True)
def limit(quantity: str, above: bool) -> str:
    """Name the limit that a figure is beyond; *quantity* is flow, vacuum or pressure."""
    said = {"flow": "what the pump can send back", "vacuum": "what a running pump draws"}
    pressure = "what the pump can give" if above else "what a running engine shows"
    return said.get(quantity, pressure)


@sentence("fuel.not_taken", what="6 psi at 700 rpm is below what a running engine shows.")
def not_taken(what: str) -> str:
    """Say why a reading was not taken."""
    return f"{what} Nothing was added."


@sentence("fuel.settle_at_entry", do="If 6 was read in bar, write it so.", written="6 psi")
def settle_at_entry(do: str, written: str) -> str:
    """Ask what the gauge showed; what really stood there is taken as "about"."""
    for told in (" The reading was left out.", " It was left out.", "; the reading was left out"):
        do = do.replace(told, "")
    return f"{do} If the pointer really stood there, write 'about {written}': then it counts."


@sentence("fuel.no_vacuum_pushed")
def no_vacuum_pushed() -> str:
    """Say why a vacuum does not count behind an electric lift pump."""
    return "With an electric lift pump the fuel is pushed to the transfer pump."


@sentence("fuel.no_vacuum_pushed_do")
def no_vacuum_pushed_do() -> str:
    """Say what to read instead."""
    return (
        "The vacuum was left out: listen for the lift pump and read its pressure by the maker's "
        "manual first."
    )


@sentence("fuel.pushed")
def pushed() -> str:
    """Say what the model does not hold of such a truck."""
    return (
        "An electric lift pump pushes fuel to the transfer pump; the model is of a pump that draws "
        "it, so what it says of the suction side is rough."
    )


@sentence("fuel.no_regulator")
def no_regulator() -> str:
    """Say that a truck has no return regulator."""
    return "This truck has no return regulator, so that is not it."


@sentence("fuel.no_regulator_short")
def no_regulator_short() -> str:
    """Name that as a piece of evidence."""
    return "the truck has no return regulator"


@sentence("fuel.truck_source")
def truck_source() -> str:
    """Say where that comes from."""
    return "As written among the facts of the truck."
