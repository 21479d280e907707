"""From what a trace shows to the causes: P(what is seen | cause), cause by cause.

The trace is one test with several outcomes (``electrical``, ``cycling``, ``sudden``, ``nothing``);
the other channels at the same instants are a second one, made only where the first is electrical
(``ground``, ``reference``, ``unit``, ``shared``, ``alone``). By the chain rule their logs add.
They stand for the packs' tests by hand of the same look at the same log (c_rate, c_cycle;
c_multi, e_multi), which must not be counted again: ``uses_tests`` and ``stands_for`` in the
details name them.

Where the figures come from: the packs' own rows for those tests, moved by what the detector
does better than a rule of thumb (studies/plausibility: false alarms on real swings and gas below
0.5 %, contact faults of 3 to 10 K found in 95 of 100 drives). All are judgement otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from witnessmark.model.finding import Support

__all__ = ["supports_of_others", "supports_of_silence", "supports_of_stuck", "supports_of_trace"]

#: A cause of an intermittent reading shows itself about once in this time while it is complained
#: of (judgement) [s]; a shorter recording is weaker evidence that there is nothing.
_ONCE_IN = 600.0

# P(outcome | cause alone) for a long recording; "none" is a truck without a listed cause: above
# the detector's own false alarms, because a cause that is not listed can be electrical, too.
# What is left is "nothing". Own sensor: ct_sensor; own wire: ct_connector, ct_chafe; shared ground
# or 5 V: ct_shared; splice or added harness: ct_splice; module: part of ct_other.
_TRACE: dict[str, dict[str, dict[str, float]]] = {
    "cool_unstable": {
        "electrical": {
            "ct_sensor": 0.75, "ct_connector": 0.90, "ct_chafe": 0.88, "ct_shared": 0.85,
            "ct_splice": 0.88, "ct_level": 0.02, "ct_thermostat": 0.006, "ct_fan": 0.006,
            "ct_gas": 0.02, "ct_pump": 0.006, "ct_cluster": 0.01, "ct_other": 0.30, "none": 0.02,
        },
        "cycling": {
            "ct_sensor": 0.03, "ct_connector": 0.03, "ct_chafe": 0.03, "ct_shared": 0.03,
            "ct_splice": 0.03, "ct_level": 0.06, "ct_thermostat": 0.80, "ct_fan": 0.85,
            "ct_gas": 0.06, "ct_pump": 0.30, "ct_cluster": 0.06, "ct_other": 0.15, "none": 0.06,
        },
        "sudden": {
            "ct_sensor": 0.02, "ct_connector": 0.02, "ct_chafe": 0.02, "ct_shared": 0.02,
            "ct_splice": 0.02, "ct_level": 0.35, "ct_thermostat": 0.06, "ct_fan": 0.02,
            "ct_gas": 0.45, "ct_pump": 0.06, "ct_cluster": 0.03, "ct_other": 0.10, "none": 0.02,
        },
    },
    "electrical": {
        "electrical": {
            "el_splice": 0.70, "el_chafe": 0.65, "el_term": 0.70, "el_ground": 0.75,
            "el_batt": 0.35, "el_relay": 0.25, "el_ref": 0.60, "el_bus": 0.10, "el_access": 0.45,
            "el_ecu": 0.45, "el_other": 0.25, "none": 0.02,
        },
    },
}  # fmt: skip

# P(what the other channels did at the instants of the jumps | cause, and jumps were seen). For
# causes that make no jumps of their own: as for a jump whose cause is not listed.
_OTHERS: dict[str, dict[str, dict[str, float]]] = {
    "cool_unstable": {
        "ground": {"ct_shared": 0.60, "ct_splice": 0.22, "ct_chafe": 0.06, "ct_other": 0.05,
                   "ct_sensor": 0.004, "ct_connector": 0.004, "none": 0.01},
        "reference": {"ct_shared": 0.18, "ct_splice": 0.06, "ct_chafe": 0.06, "ct_other": 0.05,
                      "ct_sensor": 0.004, "ct_connector": 0.004, "none": 0.01},
        "unit": {"ct_shared": 0.008, "ct_splice": 0.008, "ct_chafe": 0.004, "ct_other": 0.30,
                 "ct_sensor": 0.002, "ct_connector": 0.002, "none": 0.004},
        "shared": {"ct_shared": 0.12, "ct_splice": 0.07, "ct_chafe": 0.08, "ct_other": 0.08,
                   "ct_sensor": 0.006, "ct_connector": 0.006, "none": 0.01},
        "alone": {"ct_shared": 0.10, "ct_splice": 0.65, "ct_chafe": 0.80, "ct_other": 0.82,
                  "ct_sensor": 0.98, "ct_connector": 0.98, "none": 0.96},
    },
    "electrical": {
        "ground": {"el_ground": 0.65, "el_splice": 0.25, "el_access": 0.35, "el_batt": 0.25,
                   "el_ref": 0.06, "el_chafe": 0.08, "el_relay": 0.20, "el_term": 0.06,
                   "el_ecu": 0.10, "none": 0.04},
        "reference": {"el_ground": 0.06, "el_splice": 0.08, "el_access": 0.12, "el_batt": 0.10,
                      "el_ref": 0.70, "el_chafe": 0.10, "el_relay": 0.20, "el_term": 0.05,
                      "el_ecu": 0.12, "none": 0.04},
        "unit": {"el_ground": 0.04, "el_splice": 0.01, "el_access": 0.015, "el_batt": 0.05,
                 "el_ref": 0.01, "el_chafe": 0.008, "el_relay": 0.06, "el_term": 0.01,
                 "el_ecu": 0.40, "none": 0.005},
        "shared": {"el_ground": 0.14, "el_splice": 0.12, "el_access": 0.12, "el_batt": 0.15,
                   "el_ref": 0.14, "el_chafe": 0.12, "el_relay": 0.30, "el_term": 0.08,
                   "el_ecu": 0.30, "none": 0.05},
        "alone": {"el_ground": 0.15, "el_splice": 0.55, "el_access": 0.41, "el_batt": 0.50,
                  "el_ref": 0.10, "el_chafe": 0.70, "el_relay": 0.30, "el_term": 0.81,
                  "el_ecu": 0.48, "none": 0.87},
    },
}  # fmt: skip

# P(jumps keep time with an electrical load | cause, and jumps were seen).
_LOADS: dict[str, dict[str, float]] = {
    "cool_unstable": {"ct_shared": 0.45, "ct_splice": 0.40, "ct_other": 0.12, "ct_chafe": 0.05,
                      "ct_sensor": 0.02, "ct_connector": 0.02, "none": 0.02},
    "electrical": {"el_ground": 0.50, "el_access": 0.55, "el_batt": 0.45, "el_splice": 0.30,
             "el_relay": 0.25, "el_ref": 0.08, "el_term": 0.08, "el_chafe": 0.06, "el_bus": 0.03,
             "el_ecu": 0.08, "none": 0.03},
}  # fmt: skip


# P(a control unit falls silent for seconds with the engine running | cause). Judgement.
_SILENT: dict[str, dict[str, float]] = {
    "electrical": {"el_relay": 0.45, "el_batt": 0.30, "el_ground": 0.30, "el_term": 0.25,
                   "el_splice": 0.20, "el_bus": 0.25, "el_ecu": 0.50, "el_access": 0.12,
                   "el_chafe": 0.15, "el_ref": 0.06, "none": 0.02},
    "cool_unstable": {"ct_other": 0.10, "ct_splice": 0.05, "none": 0.02},
}  # fmt: skip


# P(the reading stands still to the digit while the load swings | cause). Judgement.
_STUCK: dict[str, dict[str, float]] = {
    "cool_unstable": {"ct_sensor": 0.12, "ct_connector": 0.06, "ct_chafe": 0.05, "ct_splice": 0.04,
                      "ct_shared": 0.04, "ct_other": 0.08, "none": 0.01},
}  # fmt: skip


# P(the fan switches once a swing, or stands still | cause, and the temperature cycles). A fan
# also answers a thermostat's swings, so that "in step" says less than "stands still". Judgement.
_FAN: dict[str, dict[str, float]] = {
    "in step": {"ct_fan": 0.85, "ct_thermostat": 0.25, "ct_pump": 0.35, "none": 0.30},
    "still": {"ct_fan": 0.03, "ct_thermostat": 0.60, "ct_pump": 0.40, "none": 0.50},
}


def supports_of_trace(
    outcome: str, duration_s: float, fan: str | None = None
) -> tuple[Support, ...]:
    """Return how an outcome of the coolant trace bears on the causes.

    Args:
        outcome: ``electrical``, ``cycling``, ``sudden`` or ``nothing``.
        duration_s: time that was really covered by readings [s].
        fan: while the temperature cycles: ``in step``, ``still``, or ``None`` where the fan is
            not on the recording or does neither.
    """
    shown = -math.expm1(-max(duration_s, 0.0) / _ONCE_IN)
    found = []
    for family, table in _TRACE.items():
        if outcome not in {*table, "nothing"}:
            continue
        rows: dict[str, float] = {}
        for cause in table["electrical"]:
            chances = {o: table[o][cause] * (1.0 if cause == "none" else shown) for o in table}
            chances["nothing"] = max(1.0 - sum(chances.values()), 0.02)
            rows[cause] = max(chances[outcome], 0.004)
            if fan is not None and outcome == "cycling":
                rows[cause] *= _FAN[fan].get(cause, _FAN[fan]["none"])
        found.append(_support(family, rows))
    return tuple(found)


def supports_of_others(pattern: str, with_loads: bool | None) -> tuple[Support, ...]:
    """Return how the other channels at the instants of the jumps bear on the causes.

    Args:
        pattern: ``ground``, ``reference``, ``unit``, ``shared`` or ``alone``.
        with_loads: whether the jumps kept time with an electrical load; ``None`` when that could
            not be told (no voltage on the recording).
    """
    found = []
    for family, table in _OTHERS.items():
        rows = dict(table[pattern])
        if with_loads is not None:
            loads = _LOADS[family]
            for cause in set(rows) | set(loads):
                share = loads.get(cause, loads["none"])
                rows[cause] = rows.get(cause, rows["none"]) * (share if with_loads else 1 - share)
        found.append(_support(family, rows))
    return tuple(found)


def supports_of_silence() -> tuple[Support, ...]:
    """Return how a control unit that falls silent bears on the causes."""
    return tuple(_support(family, rows) for family, rows in _SILENT.items())


def supports_of_stuck() -> tuple[Support, ...]:
    """Return how a reading that stands still bears on the causes."""
    return tuple(_support(family, rows) for family, rows in _STUCK.items())


def _support(family: str, rows: Mapping[str, float]) -> Support:
    base = rows["none"]
    return Support(
        family, {c: math.log(p / base) for c, p in rows.items() if c != "none" and p != base}
    )
