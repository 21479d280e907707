"""From what a trace shows to the causes: P(what is seen | cause), cause by cause.

The trace is one test with several outcomes (``electrical``, ``cycling``, ``sudden``, ``nothing``);
the other channels at the same instants are a second one, made only where the first is electrical
(``ground``, ``reference``, ``unit``, ``shared``, ``alone``). By the chain rule their logs add.
They stand for the packs' tests by hand of the same look at the same log, which must not be counted
again: ``uses_tests`` and ``stands_for`` in the details name them.

All figures, with where they come from, are the packs' ``[[finding_tables]]``.
"""

from __future__ import annotations

import math

from witnessmark.analyses.readings.finding_rows import NONE, support_of, supports_of, tables_of
from witnessmark.knowledge import Knowledge
from witnessmark.model.finding import Support

__all__ = ["supports_of_others", "supports_of_silence", "supports_of_stuck", "supports_of_trace"]

#: A cause of an intermittent reading shows itself about once in this time while it is complained
#: of (judgement) [s]; a shorter recording is weaker evidence that there is nothing.
_ONCE_IN = 600.0


def supports_of_trace(
    knowledge: Knowledge | None, outcome: str, duration_s: float, fan: str | None = None
) -> tuple[Support, ...]:
    """Return how an outcome of the coolant trace bears on the causes.

    Args:
        knowledge: the packs; nothing is said of causes without them.
        outcome: ``electrical``, ``cycling``, ``sudden`` or ``nothing``.
        duration_s: time that was really covered by readings [s].
        fan: while the temperature cycles: ``in step``, ``still``, or ``None`` where the fan is
            not on the recording or does neither.
    """
    shown = -math.expm1(-max(duration_s, 0.0) / _ONCE_IN)
    found = []
    beside = tables_of(knowledge, "fan_beside_cycling")
    for family, table in tables_of(knowledge, "coolant_trace").items():
        if outcome not in {*table, "nothing"}:
            continue
        rows: dict[str, float] = {}
        for cause in dict.fromkeys(c for row in table.values() for c in row):
            chances = {
                o: row.get(cause, row[NONE]) * (1.0 if cause == NONE else shown)
                for o, row in table.items()
            }
            chances["nothing"] = max(1.0 - sum(chances.values()), 0.02)
            rows[cause] = max(chances[outcome], 0.004)
            if fan is not None and outcome == "cycling" and family in beside:
                stands = beside[family][fan.replace(" ", "_")]
                rows[cause] *= stands.get(cause, stands[NONE])
        found.append(support_of(family, rows))
    return tuple(found)


def supports_of_others(
    knowledge: Knowledge | None, pattern: str, with_loads: bool | None
) -> tuple[Support, ...]:
    """Return how the other channels at the instants of the jumps bear on the causes.

    Args:
        knowledge: the packs.
        pattern: ``ground``, ``reference``, ``unit``, ``shared`` or ``alone``.
        with_loads: whether the jumps kept time with an electrical load; ``None`` when that could
            not be told (no voltage on the recording).
    """
    found = []
    with_load = tables_of(knowledge, "jumps_with_loads")
    for family, table in tables_of(knowledge, "sensors_step_together").items():
        if pattern not in table:
            continue
        rows = dict(table[pattern])
        if with_loads is not None and family in with_load:
            loads = with_load[family]["seen"]
            for cause in set(rows) | set(loads):
                share = loads.get(cause, loads[NONE])
                rows[cause] = rows.get(cause, rows[NONE]) * (share if with_loads else 1 - share)
        found.append(support_of(family, rows))
    return tuple(found)


def supports_of_silence(knowledge: Knowledge | None) -> tuple[Support, ...]:
    """Return how a control unit that falls silent bears on the causes."""
    return supports_of(knowledge, "control_unit_silent", "seen")


def supports_of_stuck(knowledge: Knowledge | None) -> tuple[Support, ...]:
    """Return how a reading that stands still bears on the causes."""
    return supports_of(knowledge, "coolant_temperature_stuck", "seen")
