"""The crankshaft's twist: damper and cylinder balance from the timing of a toothed wheel.

The modes, their fit and the sources stand in ``physics.vibration.twist`` and docs/damper.md.
"""

from __future__ import annotations

import math

from witnessmark.inference.analysis_plug import AnalysisModel
from witnessmark.inference.models import Example, Need, Traits
from witnessmark.words.say import needs

__all__ = ["MODEL"]


def _mode() -> float:
    """Return the twist mode of two inertias on one spring [Hz]."""
    from witnessmark.physics.vibration.twist.crank_torsion import Chain, free_modes

    return free_modes(Chain((0.2, 0.3), ((0, 1, 1.2e6),), (), 0.0))[0].frequency


def _examples() -> tuple[Example, ...]:
    exact = math.sqrt(1.2e6 * (1 / 0.2 + 1 / 0.3)) / (2 * math.pi)
    return (
        Example(
            "twist mode of two inertias on one spring [Hz]", _mode, exact, 1e-6 * exact, "exact",
            "w2 = k (1/J1 + 1/J2)",
        ),
    )  # fmt: skip


MODEL = AnalysisModel(
    id="crank",
    version="1",
    needs=(
        Need(
            needs.tooth_timing(),
            quantities=frozenset({"coolant_temperature"}),
            recordings=frozenset({"tooth_timing", "waveform", "table"}),
        ),
        Need(needs.twist(), frozenset({"torsional_amplitude"})),
    ),
    traits=Traits(),
    modules=("witnessmark.analyses.vibration.torsional",),
    numbers=_examples,
)
