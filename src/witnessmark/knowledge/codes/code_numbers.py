"""The open numbering of trouble codes: what a number (SPN) and a failure mode (FMI) mean.

The words are data (``code_numbers.toml``) with their source; nothing here points at a part.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

__all__ = ["CodeNumbers", "code_numbers"]

_FILE = Path(__file__).with_name("code_numbers.toml")


@dataclass(frozen=True, slots=True)
class CodeNumbers:
    """The numbering.

    Attributes:
        spn: number -> what it is about.
        fmi: failure mode -> (what it says, a remark or nothing).
        severity: failure modes of a true reading, each row from mild to worst.
        circuit: failure modes of the electrical side of a circuit.
        network: failure modes of a message that does not come, or comes as an error.
        reading: failure modes of a reading that is true.
        own_from: from this number on each maker gives his own meaning.
        supplies: five-volt lines that several sensors share.
        voltage: numbers of the truck's voltage.
        low: failure modes that say that it is low.
        source: where the words come from.
    """

    spn: Mapping[int, str]
    fmi: Mapping[int, tuple[str, str]]
    severity: tuple[tuple[int, ...], ...]
    circuit: frozenset[int]
    network: frozenset[int]
    reading: frozenset[int]
    own_from: int
    supplies: frozenset[int]
    voltage: frozenset[int]
    low: frozenset[int]
    source: str

    def rank(self, fmi: int) -> int:
        """Return how bad a failure mode is: a true reading by its steps, else in the middle.

        A sort by the number is wrong: 15 is milder than 16, and 16 than 0; so 17, 18 and 1.
        """
        return next((row.index(fmi) for row in self.severity if fmi in row), 1)


@cache
def code_numbers() -> CodeNumbers:
    """Return the shipped numbering, read once."""
    told = tomllib.loads(_FILE.read_text(encoding="utf-8"))
    return CodeNumbers(
        spn={int(k): v for k, v in told["spn"].items()},
        fmi={int(k): (v["words"], v.get("remark", "")) for k, v in told["fmi"].items()},
        severity=tuple(tuple(row) for row in told["severity"]),
        circuit=frozenset(told["circuit"]),
        network=frozenset(told["network"]),
        reading=frozenset(told["reading"]),
        own_from=told["own_from"],
        supplies=frozenset(told["supplies"]),
        voltage=frozenset(told["voltage"]),
        low=frozenset(told["low"]),
        source=told["source"],
    )
