"""The sampling rate as a file states it above its data, in any of the usual ways."""

from __future__ import annotations

import re

__all__ = ["rate_above"]

_RATE = re.compile(
    r"\bsampl\w*[ _-]?(freq\w*|rates?)\b|^(sampfreq|samplerate|samplingrate|samplefreq)\b|"
    r"^(fs|rate|freq|frequency|sps|samples?( per |/)(second|sec|s))$|abtast(rate|frequenz)|"
    r"\bsampling$|acquisition rate|data rate|frecuencia de muestreo|fréquence d"
)
_STEP = re.compile(
    r"\bdelta ?_?(t|time|x)?$|\bsampl\w*[ _-]?(interval|period|time|spacing)|abtastintervall|"
    r"^(dt|d_t|ts|x ?incr\w*|xinc|increment|time step|time ?increment|time interval|interval|"
    r"time per sample|time ?delta|horizontal interval)$"
)
_NUMBER = re.compile(r"\s*([-+]?\d[\d., '\u00a0\u2019]*(?:[eE][-+]?\d+)?)\s*([^\d\s].*)?$")
_PREFIX = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}
_PER_SECOND = re.compile(
    r"(?i)(k|m|g)?(hz|s/s|sa/s|sps|sa?mp?l?e?s?(/| per )s(ec)?(ond)?|samples?)$"
)
_SECONDS = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "msec": 1e-3,
    "millisecond": 1e-3, "milliseconds": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "usec": 1e-6,
    "microsecond": 1e-6, "microseconds": 1e-6, "ns": 1e-9, "nsec": 1e-9, "nanoseconds": 1e-9,
}  # fmt: skip


def rate_above(above: dict[str, list[str]]) -> float | None:
    """Return the sampling rate stated above the data [Hz], ``None`` where none is plain.

    Args:
        above: the lines above the data: key in small letters -> values.
    """
    for key, values in above.items():
        words, unit = _key(key)
        is_rate, is_step = _RATE.search(words), _STEP.search(words)
        if not is_rate and not is_step:
            continue
        found = _number(values)
        if found is None or found[0] <= 0.0:
            continue
        number, behind = found
        rate = _in_hertz(number, behind or unit, step=not is_rate)
        if rate is not None:
            return rate
    return None


def _key(key: str) -> tuple[str, str]:
    found = re.fullmatch(r"(.*?)\s*[\[(]\s*([^\])]*?)\s*[\])]", key.strip())
    words, unit = (found[1], found[2]) if found else (key.strip(), "")
    return re.sub(r"\s+", " ", words.lower().rstrip(":= ")), unit


def _number(values: list[str]) -> tuple[float, str] | None:
    """Return the first number and the unit behind it, in its cell or in the next one."""
    for place, value in enumerate(values):
        found = _NUMBER.match(value)
        if found is None:
            continue
        text = found[1].strip()
        if re.fullmatch(r"\d{1,3}([, '\u00a0\u2019]\d{3})+(\.\d+)?", text):
            text = re.sub(r"[, '\u00a0\u2019]", "", text)
        try:
            number = float(text.replace(",", "."))
        except ValueError:
            continue
        unit = (found[2] or "").strip()
        if not unit and place + 1 < len(values) and not _NUMBER.match(values[place + 1]):
            unit = values[place + 1].strip()
        return number, unit
    return None


def _in_hertz(number: float, unit: str, *, step: bool) -> float | None:
    unit = unit.strip(" ()[].")
    per_second = _PER_SECOND.match(unit)
    if per_second:
        return number * _PREFIX[(per_second[1] or "").lower()]
    seconds = _SECONDS.get(unit.lower())
    if seconds is not None:
        return 1.0 / (number * seconds)
    if (
        unit
        and re.match(r"[A-Za-zµ%]", unit)
        and len(unit) <= 8
        and unit.lower() not in {"v", "volt"}
    ):
        return None  # a unit that is not understood
    return 1.0 / number if step else number
