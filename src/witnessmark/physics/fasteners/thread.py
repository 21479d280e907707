"""Screw threads: nominal size, pitch, stress area and proof load.

Sources: stress areas by the formulas of ASME B1.1 (inch) and ISO 898-1 (metric); proof stresses
of SAE J429 and ISO 898-1; pitches of the coarse and fine series of ASME B1.1 and ISO 261, as
printed in public tables of these standards. Range: 1/4 to 1 1/2 in, M5 to M39.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

__all__ = ["GRADES", "Thread", "proof_load", "proof_stress", "read_thread"]

_INCH = 0.0254
_PSI = 6894.757293168361

#: Nominal size [in] -> threads an inch, coarse and fine (ASME B1.1).
_INCH_SERIES = {
    "1/4": (20, 28), "5/16": (18, 24), "3/8": (16, 24), "7/16": (14, 20), "1/2": (13, 20),
    "9/16": (12, 18), "5/8": (11, 18), "3/4": (10, 16), "7/8": (9, 14), "1": (8, 12),
    "1 1/8": (7, 12), "1 1/4": (7, 12), "1 3/8": (6, 12), "1 1/2": (6, 12),
}  # fmt: skip
#: Nominal size [mm] -> coarse pitch [mm] (ISO 261).
_COARSE_MM: dict[float, float] = {
    5: 0.8, 6: 1.0, 7: 1.0, 8: 1.25, 10: 1.5, 12: 1.75, 14: 2.0, 16: 2.0, 18: 2.5,
              20: 2.5, 22: 2.5, 24: 3.0, 27: 3.0, 30: 3.5, 33: 3.5, 36: 4.0, 39: 4.0,
}  # fmt: skip

#: Grade or property class -> ((up to this nominal size [m], proof stress [Pa]), ...).
GRADES: dict[str, tuple[tuple[float, float], ...]] = {
    # SAE J429
    "2": ((0.75 * _INCH, 55e3 * _PSI), (1.5 * _INCH, 33e3 * _PSI)),
    "5": ((1.0 * _INCH, 85e3 * _PSI), (1.5 * _INCH, 74e3 * _PSI)),
    "8": ((1.5 * _INCH, 120e3 * _PSI),),
    # ISO 898-1
    "8.8": ((0.016, 580e6), (0.039, 600e6)),
    "10.9": ((0.039, 830e6),),
    "12.9": ((0.039, 970e6),),
}
_METRIC = re.compile(r"M\s*(\d+(?:\.\d+)?)(?:\s*[x\u00d7*-]\s*(\d+(?:\.\d+)?))?", re.IGNORECASE)
_SIZE = r"(\d+\s+\d+/\d+|\d+/\d+|\d+)"
_UN = re.compile(_SIZE + r"(?:\s*in|\")?\s*-\s*(\d+(?:\.\d+)?)\s*(?:UN[A-Z]*)?", re.IGNORECASE)
_UN_SERIES = re.compile(
    _SIZE + r"(?:\s*in|\")?\s*(UNC|UNF|coarse|fine)(?:\s+thread)?", re.IGNORECASE
)


@dataclass(frozen=True, slots=True)
class Thread:
    """One thread.

    Attributes:
        diameter: nominal diameter [m].
        pitch: [m].
        inch: of the inch series.
    """

    diameter: float
    pitch: float
    inch: bool

    def stress_area(self) -> float:
        """Return the tensile stress area [m²].

        Inch (ASME B1.1): ``pi/4 (D - 0.9743 p)²``. Metric (ISO 898-1): ``pi/4 (d - 0.9382 P)²``.
        """
        share = 0.9743 if self.inch else 0.9382
        return math.pi / 4 * (self.diameter - share * self.pitch) ** 2


def read_thread(words: str) -> Thread | None:
    """Return a thread as it is written: ``5/8-18``, ``5/8 fine``, ``M12x1.25``, ``M12``.

    ``None`` where the words name no thread, or a bare inch size whose series is not said.
    """
    text = words.strip()
    if found := _METRIC.fullmatch(text):
        size = float(found[1])
        pitch = float(found[2]) if found[2] else _COARSE_MM.get(size, 0.0)
        sound = 1.0 <= size <= 150 and 0.2 <= pitch < size / 2
        return Thread(size / 1e3, pitch / 1e3, False) if sound else None
    if found := _UN.fullmatch(text):
        size, per_inch = _inches(found[1]), float(found[2])
        sound = size > 0 and 3 <= per_inch <= 80 and 1 / per_inch < size / 2
        return Thread(size * _INCH, _INCH / per_inch, True) if sound else None
    if found := _UN_SERIES.fullmatch(text):
        series = _INCH_SERIES.get(re.sub(r"\s+", " ", found[1]))
        if series is None:
            return None
        per_inch = series[1 if found[2].lower() in {"unf", "fine"} else 0]
        return Thread(_inches(found[1]) * _INCH, _INCH / per_inch, True)
    return None


def proof_stress(thread: Thread, grade: str) -> float | None:
    """Return the proof stress [Pa] of a grade at a size; ``None`` where no table has it."""
    for up_to, stress in GRADES.get(grade, ()):
        if thread.diameter <= up_to + 1e-9:
            return stress
    return None


def proof_load(thread: Thread, grade: str) -> float | None:
    """Return the proof load [N]: proof stress times stress area; ``None`` as above."""
    stress = proof_stress(thread, grade)
    return None if stress is None else stress * thread.stress_area()


def _inches(text: str) -> float:
    total = 0.0
    for part in text.split():
        above, _, below = part.partition("/")
        if below and int(below) == 0:
            return 0.0
        total += int(above) / int(below or 1)
    return total
