"""What is read in which order, and the rule of thumb that is the rival.

The rival is the trade's limits in their best form: every reading over its limit is divided by it,
and the place of the largest excess is named; nothing over a limit is "nothing wrong".
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

__all__ = ["KITS", "KNOWN_AS", "NEVER", "RIVALS"]

PSI = 6894.757
#: Circuit -> kit -> readings of the drawn trucks.
KITS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    "air": {
        "A": ("primary_released", "secondary_released", "build_fast"),
        "B": ("primary_released", "secondary_released", "primary_applied", "secondary_applied",
              "build_fast", "build_idle", "cut_out", "cut_in", "purge_interval"),
        "C": ("primary_released", "secondary_released", "primary_applied", "secondary_applied",
              "build_fast", "build_idle", "cut_out", "cut_in", "purge_interval", "wet",
              "wet_empty", "hooked_released", "gauge_difference"),
    },
    "start": {
        "A": ("rested", "cranking", "speed"),
        "B": ("rested", "cranking", "speed", "drop_positive", "drop_ground"),
        "C": ("rested", "cranking", "speed", "drop_positive", "drop_ground", "drop_solenoid",
              "drop_ground_engine", "current", "command"),
    },
    "bus_line": {
        "A": ("pair",),
        "B": ("pair", "high_volts", "low_volts"),
        "C": ("pair", "high_volts", "low_volts", "high_ground", "low_ground"),
    },
    "charge": {
        "A": ("posts", "posts_idle"),
        "B": ("posts", "posts_idle", "output", "drop_positive", "drop_ground"),
        "C": ("posts", "posts_idle", "output", "drop_positive", "drop_ground", "output_idle",
              "battery_amps", "sense", "excite", "ripple", "back", "slip", "gauge"),
    },
    "rest": {
        "A": ("total", "added_off"),
        "B": ("total", "added_off", "cab_fuse", "module_fuse", "running_volts"),
        "C": ("total", "added_off", "cab_fuse", "module_fuse", "running_volts", "alternator",
              "after_night", "self_loss", "case", "behind_switch"),
    },
    "cooling": {
        "A": ("display", "top", "bottom"),
        "B": ("display", "top", "bottom", "outside_air", "fuel", "fan"),
        "C": ("display", "top", "bottom", "outside_air", "fuel", "fan", "road", "behind",
              "charge_out"),
    },
    "stroke": {
        "A": ("applied", "mate"),
        "B": ("applied", "mate", "free", "set"),
        "C": ("applied", "mate", "free", "set", "light", "arrives", "arm", "ring"),
    },
}  # fmt: skip
#: Reading of the drawn trucks -> channel of the circuit.
KNOWN_AS: Mapping[str, Mapping[str, str]] = {
    "air": {
        **{k: k for k in ("primary_released", "secondary_released", "primary_applied",
                          "secondary_applied", "cut_out", "cut_in", "wet", "wet_empty")},
        "build_fast": "build", "build_idle": "build", "purge_interval": "purge",
        "hooked_released": "hooked", "gauge_difference": "gauge",
    },
    "start": {
        "rested": "rested", "cranking": "cranking", "speed": "speed", "current": "current",
        "command": "command", "drop_positive": "positive", "drop_ground": "ground",
        "drop_solenoid": "solenoid", "drop_ground_engine": "ground_engine",
    },
    "bus_line": {k: k for k in ("pair", "high_ground", "low_ground", "high_volts", "low_volts")},
    "charge": {
        "posts_idle": "posts", "output_idle": "output",
        **{k: k for k in ("posts", "output", "drop_positive", "drop_ground", "battery_amps",
                          "sense", "excite", "ripple", "back", "slip", "gauge")},
    },
    "rest": {k: k for k in KITS["rest"]["C"]},
    "cooling": {k: k for k in KITS["cooling"]["C"]},
    "stroke": {k: k for k in KITS["stroke"]["C"]},
}  # fmt: skip
#: What is written where a thing never came: it was waited for so long [s].
NEVER: Mapping[str, float] = {"build_fast": 900.0, "build_idle": 900.0}

Read = Mapping[str, float | None]


def _largest(excess: Mapping[str, float]) -> str:
    name, most = max(excess.items(), key=lambda pair: pair[1])
    return name if most > 1.0 else "none"


def _over(read: Read, key: str, limit: float) -> float:
    value = read.get(key)
    return value / limit if value is not None else 0.0


def _air(read: Read) -> str:
    one, two = _over(read, "primary_released", 2 * PSI), _over(read, "secondary_released", 2 * PSI)
    slow = 900.0 / 45.0 if read.get("build_fast") is None else _over(read, "build_fast", 45.0)
    out = read.get("cut_out")
    leaks = {
        "primary": one,
        "secondary": two,
        "primary_pedal": _over(read, "primary_applied", 3 * PSI) if one <= 1.0 else 0.0,
        "secondary_pedal": _over(read, "secondary_applied", 3 * PSI) if two <= 1.0 else 0.0,
        "supply": _over(read, "wet", 4 * PSI) if max(one, two) <= 1.0 else 0.0,
        "trailer": _over(read, "hooked_released", 3 * PSI) if max(one, two) <= 1.0 else 0.0,
        "service_check": _over(read, "wet_empty", 3 * PSI) if max(one, two) <= 1.0 else 0.0,
        "compressor": slow if max(one, two) <= 1.0 else 0.0,
        "governor": 0.0 if out is None else 1.0 + abs(out / PSI - 125.0) / 10.0 - 1.0,
        "gauge": abs(_over(read, "gauge_difference", 5 * PSI)),
    }
    return _largest(leaks)


def _start(read: Read) -> str:
    rested, posts, speed = read.get("rested"), read.get("cranking"), read.get("speed")
    command = read.get("command")
    if command is not None and command < 5.0:
        return "no_command"
    drops = {
        "positive": _over(read, "drop_positive", 0.5),
        "ground_engine": _over(read, "drop_ground", 0.5),
        "solenoid": _over(read, "drop_solenoid", 0.3),
    }
    if "drop_ground_engine" in read and drops["ground_engine"] > 1.0:
        total, part = read.get("drop_ground") or 0.0, read.get("drop_ground_engine") or 0.0
        if part < 0.5 * total:
            drops["ground_battery"] = drops.pop("ground_engine")
    if max(drops.values()) > 1.0:
        return _largest(drops)
    if rested is not None and rested < 12.3:
        return "flat_battery"
    current = read.get("current")
    if current is not None and current > 1100.0:
        return "hard"
    if posts is not None and posts < 9.6:
        return "worn_battery"
    slow = speed is not None and speed < 90.0
    return "starter_open" if slow else "none"


def _bus(read: Read) -> str:
    pair, high, low = (read.get(k) for k in ("pair", "high_volts", "low_volts"))
    if high is not None and low is not None:
        if max(high, low) > 5.0:
            return "high_plus" if high >= low else "low_plus"
        if min(high, low) < 1.0:
            return "high_ground" if high <= low else "low_ground"
    ohm = pair or 0.0
    for most, name in ((10.0, "short_pair"), (50.0, "third"), (70.0, "elsewhere"),
                       (105.0, "corroded"), (135.0, "one_open")):  # fmt: skip
        if ohm < most:
            return name
    return "both_open"


def _charge(read: Read) -> str:
    posts, output = read.get("posts") or 0.0, read.get("output")
    excite, slip, sense = (read.get(k) for k in ("excite", "slip", "sense"))
    if abs(read.get("gauge") or 0.0) > 0.3:
        return "gauge"
    if excite is not None and excite < 5.0:
        return "excite"
    if posts > 15.0:
        return "sense" if sense is not None and abs(sense) > 0.2 else "over"
    drops = {
        "positive": _over(read, "drop_positive", 0.3),
        "ground": _over(read, "drop_ground", 0.2),
        "diode": max(_over(read, "ripple", 0.5), _over(read, "back", 0.02)),
        "sense": abs(sense or 0.0) / 0.2,
        "belt": (slip or 0.0) / 5.0,
    }
    if max(drops.values()) > 1.0:
        return _largest(drops)
    if output is None:
        return "alternator" if posts < 13.2 else "none"
    if posts < 13.2:
        if output < 0.8 * 145.0:
            return "alternator"
        taken = read.get("battery_amps")
        return "battery" if taken is not None and taken > 30.0 else "load"
    taken = read.get("battery_amps")
    return "battery" if taken is not None and taken > 50.0 else "none"


def _rest(read: Read) -> str:
    total, off = read.get("total") or 0.0, read.get("added_off")
    behind = read.get("behind_switch")
    if total > 0.1:
        if off is not None and off < 0.5 * total:
            return "added_big" if total - off > 0.7 else "added_small"
        branches = {
            "alternator": _over(read, "alternator", 0.02),
            "cab": _over(read, "cab_fuse", 0.5e-3),
            "module": _over(read, "module_fuse", 0.5e-3),
        }
        if max(branches.values()) > 1.0:
            return _largest(branches)
        if behind is not None and behind > 0.5:
            return "switch"
        return "cab"
    own = {
        "film": _over(read, "case", 0.5),
        "battery": _over(read, "self_loss", 0.15),
        "switch": _over(read, "behind_switch", 0.5),
    }
    running = read.get("running_volts")
    if running is not None and running < 13.2:
        return "charge"
    return _largest(own)


def _cooling(read: Read) -> str:
    top, bottom = read.get("top") or 0.0, read.get("bottom") or 0.0
    if abs((read.get("display") or top) - top) > 5.0:
        return "display"
    if top < 93.0:
        return "none"
    fan = read.get("fan")
    if fan is not None and fan < 0.85 * 1500.0:
        return "fan"
    if top - bottom > 25.0 / 1.8:
        return "flow"
    charge, air = read.get("charge_out"), read.get("outside_air")
    if charge is not None and air is not None and charge - air > 15.0:
        return "outside"
    behind = read.get("behind")
    if behind is not None and air is not None and behind - air < 25.0:
        return "inside"
    return "outside"


def _stroke(read: Read) -> str:
    inch = 0.0254
    if abs(read.get("arm") or 0.0) > 0.25 * inch:
        return "arm"
    if abs(read.get("ring") or 0.0) > 0.25 * inch:
        return "chamber"
    arrives, free = read.get("arrives"), read.get("free")
    if arrives is not None and arrives < 80.0 * PSI:
        return "pressure"
    applied, mate = read.get("applied") or 0.0, read.get("mate") or 0.0
    if applied > 2.0 * inch or applied > mate + 0.25 * inch:
        if free is None:
            return "misadjusted"
        if free < 0.7 * inch:
            return "foundation"
        return "adjuster" if (read.get("set") or 0.0) > mate + 0.25 * inch else "misadjusted"
    if applied < mate - 0.25 * inch:
        return "seized"
    return "none"


RIVALS: Mapping[str, Callable[[Read], str]] = {
    "air": _air,
    "start": _start,
    "bus_line": _bus,
    "charge": _charge,
    "rest": _rest,
    "cooling": _cooling,
    "stroke": _stroke,
}
