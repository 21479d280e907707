"""The data bus as a meter sees it: terminators, opens, shorts and rotten joints.

The sources stand in ``physics.circuits.parallel_ohms`` and docs/circuits.md.
"""

from __future__ import annotations

from witnessmark.inference.circuits.circuit_plug import CircuitPlug
from witnessmark.inference.models import Example, Need
from witnessmark.words.say import needs

__all__ = ["MODEL"]

_READS = frozenset(
    {
        "bus_resistance", "bus_high_to_ground", "bus_low_to_ground", "bus_high_voltage",
        "bus_low_voltage",
    }
)  # fmt: skip


def _ends(count: int) -> float:
    """Return the resistance of so many terminators of 120 ohm [ohm]."""
    import numpy as np

    from witnessmark.physics.circuits.parallel_ohms import parallel

    return float(parallel(*[np.array([120.0])] * count)[0])


def _examples() -> tuple[Example, ...]:
    return tuple(
        Example(
            f"{count} terminators [ohm]", lambda count=count: _ends(count), 120.0 / count,  # type: ignore[misc]
            1e-9, "exact", "120 / n ohm; SAE J1939-11 has two of 120",
        )
        for count in (1, 2, 3)
    )  # fmt: skip


MODEL = CircuitPlug(
    id="bus_line",
    version="1",
    needs=(Need(needs.bus_ohms(), _READS),),
    module="witnessmark.inference.circuits.kinds.bus_line_circuit",
    numbers=_examples,
)
