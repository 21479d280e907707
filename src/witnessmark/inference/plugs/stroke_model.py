"""The push rod's stroke of one wheel against its mate.

The equations and their sources stand in ``physics.circuits.push_rod`` and docs/circuits.md.
"""

from __future__ import annotations

import math

from witnessmark.inference.circuits.circuit_plug import CircuitPlug
from witnessmark.inference.models import Example, Need
from witnessmark.words.say import needs

__all__ = ["MODEL"]

_READS = frozenset(
    {
        "chamber_pressure_applied", "chamber_ring_difference", "slack_arm_difference",
        "stroke_after_setting", "stroke_applied", "stroke_applied_mate", "stroke_free",
        "stroke_light",
    }
)  # fmt: skip


def _stroke(pressure: float) -> float:
    """Return the stroke of half an inch of clearance and an inch that gives at 90 psi [in]."""
    import numpy as np

    from witnessmark.physics.circuits.push_rod import FULL, stroke_at

    figures = (pressure * FULL, 0.5, 1.0, 0.5, 1.0, 1.0)
    return float(stroke_at(*(np.array([f]) for f in figures))[0])


def _area() -> float:
    """Return the area of a clamp ring of 8 3/32 in [in2]."""
    import numpy as np

    from witnessmark.physics.circuits.push_rod import effective_area

    return float(effective_area(np.asarray(8.09375 * 0.0254))) / 0.0254**2


def _examples() -> tuple[Example, ...]:
    return (
        Example("no pressure, clearance only [in]", lambda: _stroke(0.0), 0.5, 1e-12, "exact",
                "s0"),
        Example("a quarter of the pressure [in]", lambda: _stroke(0.25), 1.0, 1e-9, "exact",
                "s0 + g (p / p0)^0.5"),
        Example("type 30 by its ring [in2]", _area, 30.0, 1.0, "published",
                "49 CFR 393.47(e): ring of 8 3/32 in, type 30"),
        Example("ten degrees off square [-]", _square, math.cos(math.pi / 18.0), 1e-12, "exact",
                "the cosine"),
    )  # fmt: skip


def _square() -> float:
    """Return what an arm ten degrees off square turns of its force [-]."""
    from witnessmark.physics.circuits.push_rod import arm_share

    return arm_share(10.0)


MODEL = CircuitPlug(
    id="stroke",
    version="1",
    needs=(Need(needs.stroke_reading(), _READS),),
    module="witnessmark.inference.circuits.kinds.stroke_circuit",
    numbers=_examples,
)
