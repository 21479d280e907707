"""The words that headings of recorders are made of, and which of them make a quantity.

A heading is taken for a quantity only when every one of its words is accounted for: the words the
quantity needs, words that may stand beside them, and words that say nothing. A word that is left
over ("radiator", "max") can make it another thing, so it is then not taken.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from witnessmark.readers.bus.j1939_signals import SIGNALS

__all__ = ["Meaning", "meaning", "words_of"]

#: Other spellings -> the words used in the rules; English, German, Spanish and French.
_SAME = {
    "eng": "engine", "engn": "engine", "motor": "engine", "moteur": "engine",
    "spd": "speed", "vel": "speed", "geschwindigkeit": "speed", "velocidad": "speed",
    "vitesse": "speed", "drehzahl": "rpm", "upm": "rpm", "revs": "rpm", "revolutions": "rpm",
    "revoluciones": "rpm", "regimen": "rpm", "regime": "rpm", "umdrehungen": "rpm",
    "temperature": "temp", "temperatures": "temp", "tmp": "temp", "temperatur": "temp",
    "temperatura": "temp", "tempr": "temp",
    "clt": "coolant temp", "ect": "coolant temp", "cts": "coolant temp", "eot": "oil temp",
    "eop": "oil pressure", "oilp": "oil pressure", "oilt": "oil temp", "iat": "intake air temp",
    "imt": "intake manifold temp", "aat": "ambient air temp", "egt": "exhaust gas temp",
    "map": "manifold absolute pressure", "maf": "mass air flow", "vss": "vehicle speed",
    "app": "accelerator pedal position", "tps": "throttle position", "vbat": "battery voltage",
    "vbatt": "battery voltage", "cool": "coolant", "clnt": "coolant", "coolnt": "coolant",
    "kuhlmittel": "coolant", "kuehlmittel": "coolant", "kuhlwasser": "coolant",
    "kuehlwasser": "coolant", "refrigerante": "coolant", "refroidissement": "coolant",
    "water": "coolant", "wasser": "coolant", "press": "pressure", "pres": "pressure",
    "prs": "pressure", "druck": "pressure", "presion": "pressure", "pression": "pressure",
    "lube": "oil", "ol": "oil", "oel": "oil", "aceite": "oil", "huile": "oil",
    "kraftstoff": "fuel", "combustible": "fuel", "carburant": "fuel", "diesel": "fuel",
    "veh": "vehicle", "fahrzeug": "vehicle", "fzg": "vehicle", "fahr": "vehicle",
    "vehiculo": "vehicle", "vehicule": "vehicle", "motorlast": "engine load",
    "carga": "load", "umgebung": "ambient", "umgebungs": "ambient", "aussen": "ambient",
    "outside": "ambient", "outdoor": "ambient", "exterior": "ambient", "amb": "ambient",
    "luft": "air", "aire": "air", "ansaug": "intake", "admision": "intake",
    "admission": "intake", "intk": "intake", "mfld": "manifold", "mani": "manifold",
    "spannung": "voltage", "volt": "voltage", "volts": "voltage", "voltaje": "voltage",
    "tension": "voltage", "potential": "voltage", "batt": "battery", "batterie": "battery",
    "bateria": "battery", "bordnetz": "battery", "bord": "battery", "abgas": "exhaust",
    "exh": "exhaust", "echappement": "exhaust", "getriebe": "transmission",
    "trans": "transmission", "gearbox": "transmission", "xmsn": "transmission",
    "ladedruck": "boost pressure", "accel": "accelerator", "accelerateur": "accelerator",
    "acelerador": "accelerator", "gaspedal": "accelerator pedal", "ped": "pedal",
    "fahrpedal": "accelerator pedal", "stellung": "position", "pos": "position",
    "posn": "position", "abs": "absolute", "turbocharger": "turbo", "calc": "calculated",
    "pct": "%", "percent": "%", "prozent": "%", "lvl": "level", "dist": "distance",
    "hrs": "hours", "hour": "hours", "baro": "barometric", "barometer": "barometric",
    "acc": "acceleration", "vib": "vibration", "trq": "torque", "tq": "torque",
    "thr": "throttle", "throt": "throttle", "tank": "tank", "prefilter": "before filter",
    "pre": "before", "blowby": "blow by", "backpressure": "back pressure", "keyswitch":
    "key switch", "mileage": "odometer", "drivers": "driver", "driver's": "driver",
    "demanded": "demand", "cabin": "cab", "atmospheric": "barometric", "atm": "barometric",
    "instantaneous": "momentary", "inst": "momentary",
}  # fmt: skip


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_PHRASES = (
    ("charge moteur", "engine load"), ("n mot", "engine rpm"), ("can bus", "can"),
    ("accel x", "acceleration x"), ("accel y", "acceleration y"), ("accel z", "acceleration z"),
)  # fmt: skip
#: Words that change nothing.
_NEUTRAL = _words(
    "engine sensor signal value val actual current measured meas reading live data channel chan ch "
    "ecu ecm pcm ems can canbus obd obdii obd2 obd1 pid sae j1939 gauge the of from at to del "
    "de du la le el d s l truck unit deg degree degrees log logger main parameter param src "
    "source sa spn pgn powertrain liquide liquid vehicle % 0 00 000 1 01 no nr std float double "
    "sensors bank eflp efl eec et ccvs lfe ic vep dd vd etc erc ebc tsc tf vdhr hours0 a"
)
#: Words that make it something else which is known not to be a reading of the plain quantity.
_OTHER = _words(
    "min max minimum maximum avg average mean limit lim threshold set setpoint target desired "
    "requested commanded command cmd error delta diff differential deviation warning alarm switch "
    "status state lamp predicted predict modelled modeled model estimated peak highest lowest rail "
    "common injection injector injectors tank vapor vapour return variance count counter reserve "
    "absolute soot axle trailer payload alternator cpu cell clutch wind mw cruise pto pump wheel "
    "dpf scr egr def catalyst injected ratio"
)
_MACHINE = re.compile(
    r"(?:eec|et|eflp|efl|ccvs|lfe|ic|vep|dd|vd|etc|erc|ebc|tf|spn|pgn|can|ch|chan|channel|sa|src|"
    r"pid|ecu|ecm|obd)_?\d{1,6}"
)
_NUMBERED = frozenset({"spn", "pgn", "sa", "pid", "ch", "chan", "channel", "src", "can", "source"})
_PLACES = _words("lf rf lr rr fl fr rl left right front rear axle wheel 1 2 3 4 5 6")


@dataclass(frozen=True, slots=True)
class _Rule:
    quantity: str
    needs: tuple[frozenset[str], ...]
    beside: frozenset[str]


def _rule(quantity: str, needs: str, beside: str = "") -> _Rule:
    """Make a rule; in *needs* a bar parts words of which one is needed."""
    return _Rule(
        quantity,
        tuple(frozenset(word.split("|")) for word in needs.split()),
        frozenset(beside.split()),
    )


#: In order; the first that accounts for every word wins.
_RULES = (
    _rule("turbo_speed", "turbo speed|rpm", "rpm speed"),
    _rule("desired_engine_speed", "desired|target|requested|setpoint engine|idle speed|rpm",
          "idle speed rpm"),
    _rule("fan_speed_percent", "fan speed %", "estimated"),
    _rule("fan_speed", "fan speed|rpm", "rpm speed"),
    _rule("output_shaft_speed", "output shaft|transmission speed|rpm", "shaft transmission rpm"),
    _rule("output_shaft_speed", "tailshaft speed|rpm", "rpm"),
    _rule("input_shaft_speed", "input shaft|transmission speed|rpm", "shaft transmission rpm"),
    _rule("front_axle_speed", "front axle speed"),
    _rule("transmission_oil_temperature", "transmission temp", "oil fluid"),
    _rule("transmission_oil_pressure", "transmission pressure", "oil fluid"),
    _rule("turbo_oil_temperature", "turbo oil temp"),
    _rule("engine_speed", "engine speed|rpm", "speed rpm"),
    _rule("engine_speed", "rpm"),
    _rule("coolant_housing_temperature", "housing temp", "thermostat coolant"),
    _rule("intercooler_temperature", "intercooler temp"),
    _rule("coolant_temperature", "coolant temp", "fluid"),
    _rule("coolant_pressure", "coolant pressure", "system"),
    _rule("coolant_level", "coolant level"),
    _rule("coolant_temperature", "coolant"),
    _rule("oil_temperature", "oil temp"),
    _rule("oil_pressure", "oil pressure", "gallery"),
    _rule("oil_level", "oil level"),
    _rule("oil_pressure", "oil"),
    _rule("fuel_gallery_pressure", "fuel gallery pressure"),
    _rule("fuel_prefilter_pressure", "fuel before filter pressure"),
    _rule("fuel_suction_vacuum", "fuel suction|vacuum", "vacuum inlet pump lift transfer"),
    _rule("fuel_delivery_pressure", "fuel pressure", "delivery supply pump lift transfer feed"),
    _rule("fuel_temperature", "fuel temp"),
    _rule("fuel_level", "fuel level", "tank input remaining"),
    _rule("fuel_level", "tank level"),
    _rule("fuel_economy_average", "fuel economy average", "momentary"),
    _rule("fuel_economy", "fuel economy", "momentary"),
    _rule("trip_fuel", "trip fuel", "used consumed consumption"),
    _rule("total_fuel", "total fuel", "used consumed consumption"),
    _rule("fuel_rate", "fuel rate|flow|consumption", "flow rate hours minute momentary"),
    _rule("crankcase_pressure", "crankcase pressure"),
    _rule("crankcase_pressure", "blow by", "pressure crankcase"),
    _rule("exhaust_back_pressure", "exhaust pressure", "back gas"),
    _rule("exhaust_back_pressure", "back pressure"),
    _rule("exhaust_temperature", "exhaust temp", "gas"),
    _rule("air_restriction", "restriction air|intake|inlet", "air filter intake inlet cleaner"),
    _rule("air_restriction", "air filter differential", "pressure"),
    _rule("intake_manifold_pressure", "boost absolute", "pressure turbo intake manifold"),
    _rule("boost_pressure", "boost", "pressure turbo vacuum manifold intake air"),
    _rule("boost_pressure", "charge pressure", "air"),
    _rule("intake_manifold_pressure", "manifold absolute pressure", "intake inlet air"),
    _rule("intake_air_temperature", "intake temp", "air manifold gas"),
    _rule("intake_air_temperature", "manifold temp", "air inlet"),
    _rule("intake_air_temperature", "charge air temp"),
    _rule("air_inlet_temperature", "inlet air temp"),
    _rule("ambient_temperature", "ambient temp", "air"),
    _rule("cab_temperature", "cab temp", "interior air"),
    _rule("barometric_pressure", "barometric", "pressure absolute air on android device"),
    _rule("air_mass_flow", "air flow", "mass rate intake meter"),
    _rule("air_mass_flow", "mass flow", "rate"),
    _rule("brake_pedal_position", "brake pedal", "position"),
    _rule("throttle_position", "throttle", "position valve absolute intake plate"),
    _rule("pedal_position", "pedal", "accelerator position e"),
    _rule("pedal_position", "accelerator position", "pedal"),
    _rule("engine_load", "load", "calculated speed motor"),
    _rule("keyswitch_voltage", "key switch voltage"),
    _rule("charging_voltage", "charging voltage", "system"),
    _rule("battery_voltage", "battery|system|supply|module|ecu|ecm voltage",
          "control module adapter power input battery"),
    _rule("battery_voltage", "battery"),
    _rule("demand_torque", "demand|requested|driver torque", "driver demand requested"),
    _rule("reference_torque", "reference torque"),
    _rule("friction_torque", "friction torque", "nominal"),
    _rule("engine_torque", "engine|actual torque"),
    _rule("selected_gear", "selected gear", "transmission"),
    _rule("gear_ratio", "gear ratio", "transmission"),
    _rule("current_gear", "gear", "engaged transmission"),
    _rule("hub_temperature", "hub temp", " ".join(sorted(_PLACES))),
    _rule("trip_distance", "trip distance|odometer"),
    _rule("total_distance", "odometer", "total"),
    _rule("total_distance", "total distance"),
    _rule("idle_hours", "idle hours", "total operation"),
    _rule("engine_hours", "engine hours", "total operation operating"),
    _rule("brake_primary_pressure", "primary pressure air|brake", "air brake circuit service"),
    _rule("road_speed", "speed", "road ground gps wheel based over"),
    _rule("vibration", "acceleration|vibration", "linear x y z axis lin"),
    _rule("vibration", "ax|ay|az"),
)  # fmt: skip
#: A manifold pressure that does not say whether it is absolute can be read two ways.
_TWO_WAYS = _rule("intake_manifold_pressure", "manifold pressure", "intake inlet air")
_VOCABULARY = frozenset(
    {*_SAME, *_NEUTRAL, *_OTHER, *_PLACES}
    | {word for rule in _RULES for group in (*rule.needs, rule.beside) for word in group}
)
_BY_SPN = {s.spn: s.name for s in SIGNALS if s.spn}


@dataclass(frozen=True, slots=True)
class Meaning:
    """What the words of a heading mean.

    Attributes:
        quantity: the quantity, ``None`` where it is none that is known.
        left_over: words that are not accounted for; the quantity is then only a guess.
        percent: it says percent.
        two_ways: it can be read two ways whatever its words.
    """

    quantity: str | None
    left_over: tuple[str, ...] = ()
    percent: bool = False
    two_ways: bool = False


def words_of(text: str) -> list[str]:
    """Return the words of a heading in the spelling of the rules."""
    flat = unicodedata.normalize("NFKD", text.replace("ß", "ss"))
    flat = "".join(c for c in flat if not unicodedata.combining(c))
    flat = re.sub(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])", " ", flat)
    flat = re.sub(r"[^a-z0-9%°]+", " ", flat.lower().replace("'s", "")).strip()
    for phrase, instead in _PHRASES:
        flat = re.sub(rf"\b{phrase}\b", instead, flat)
    found: list[str] = []
    for word in flat.split():
        for part in _parts(word):
            found += _SAME.get(part, part).split()
    return found


def meaning(words: list[str]) -> Meaning:
    """Say what the words of a heading mean."""
    percent = "%" in words
    numbers = {i for i, w in enumerate(words) if w.isdigit() and i and words[i - 1] in _NUMBERED}
    for i in numbers:
        if words[i - 1] == "spn" and int(words[i]) in _BY_SPN:
            return Meaning(_BY_SPN[int(words[i])], percent=percent)
    kept = {w for i, w in enumerate(words) if i not in numbers and not _MACHINE.fullmatch(w)}
    guess: tuple[int, Meaning] | None = None
    for rule in (*_RULES, _TWO_WAYS):
        if not all(group & kept for group in rule.needs):
            continue
        used = frozenset(w for group in rule.needs for w in group) & kept
        rest = kept - used - rule.beside - _NEUTRAL
        if not rest:
            return Meaning(rule.quantity, percent=percent, two_ways=rule is _TWO_WAYS)
        if guess is None or len(rest) < guess[0]:
            left = tuple(w for w in dict.fromkeys(words) if w in rest)
            guess = (len(rest), Meaning(rule.quantity, left, percent))
    if guess is None or set(guess[1].left_over) & _OTHER:
        return Meaning(None, percent=percent)
    return guess[1]


def _parts(word: str) -> list[str]:
    """Take a word apart that is several known ones written together (``engspd``)."""
    if word in _VOCABULARY or _MACHINE.fullmatch(word):
        found = re.fullmatch(r"(spn|pgn|sa|pid)_?(\d+)", word)
        return [found[1], found[2]] if found else [word]
    numbered = re.fullmatch(r"([a-z]{2,})(\d{1,2})", word)
    if numbered and numbered[1] in _VOCABULARY:
        return [numbered[1], numbered[2]]
    return _split(word) or [word]


def _split(word: str) -> list[str] | None:
    if not word:
        return []
    for size in range(len(word), 1, -1):
        if word[:size] in _VOCABULARY:
            rest = _split(word[size:])
            if rest is not None:
                return [word[:size], *rest]
    return None
