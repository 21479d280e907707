"""A truck at rest: what draws overnight, and what its batteries lose by themselves.

The equations and their sources stand in ``physics.circuits.rest_current`` and docs/circuits.md.
"""

from __future__ import annotations

from witnessmark.inference.circuits.circuit_plug import CircuitPlug
from witnessmark.inference.models import Example, Need
from witnessmark.words.say import needs

__all__ = ["MODEL"]

_READS = frozenset(
    {
        "alternator_back_current", "battery_after_night", "battery_case_voltage",
        "battery_self_loss", "battery_voltage", "fuse_drop_cab", "fuse_drop_module",
        "rest_current", "rest_current_added_off", "voltage_behind_switch",
    }
)  # fmt: skip


def _weekend() -> float:
    """Return what half an ampere leaves of a full 200 Ah bank after 60 hours [-]."""
    import numpy as np

    from witnessmark.physics.circuits.rest_current import charge_left

    figures = (1.0, 0.5, 60.0, 200.0)
    return float(charge_left(*(np.array([f]) for f in figures))[0])


def _emptied() -> float:
    """Return how long 100 Ah at 20 h give 10 A with an exponent of 1.2 [h]."""
    from witnessmark.physics.circuits.rest_current import peukert_hours

    return peukert_hours(100.0, 20.0, 10.0, 1.2)


def _examples() -> tuple[Example, ...]:
    return (
        Example(
            "half an ampere over a weekend [-]", _weekend, 0.85, 1e-9, "exact",
            "1 - 0.5 A x 60 h / 200 Ah",
        ),
        Example(
            "100 Ah emptied with 10 A [h]", _emptied, 20.0 * 0.5**1.2, 1e-9, "exact",
            "Peukert: H (C / (I H))^k",
        ),
    )  # fmt: skip


MODEL = CircuitPlug(
    id="rest",
    version="1",
    needs=(Need(needs.rest_reading(), _READS),),
    module="witnessmark.inference.circuits.kinds.rest_circuit",
    numbers=_examples,
)
