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


RIVALS: Mapping[str, Callable[[Read], str]] = {"air": _air, "start": _start, "bus_line": _bus}
