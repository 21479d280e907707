"""Lines beside those that were written down: belt drives nobody listed, and belts that slip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from witnessmark.analyses.vibration.vibration_drives import VibrationDrive, sweeps_of
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.physics.vibration.orders.line_selection import choose_lines
from witnessmark.physics.vibration.orders.order_lines import Line
from witnessmark.physics.vibration.orders.unlisted_orders import unlisted_orders

__all__ = ["UNLISTED", "with_found_orders"]

#: How the name of a line begins that no listed part turns with.
UNLISTED = "unlisted order"
#: A belt slips up to this part (common practice, no source: 1 to 3 % on a sound belt).
_SLIP = 0.045
#: A half order is that half order within this [-].
_HALF = 0.015


def with_found_orders(
    drives: Sequence[VibrationDrive], lines: tuple[Line, ...], truck: TruckData | None
) -> tuple[Line, ...]:
    """Return the lines with what else follows the engine; a slipping belt takes its real ratio.

    Args:
        drives: the drives of a visit.
        lines: candidate lines so far.
        truck: the truck.
    """
    first = next((i for i, x in enumerate(lines) if x.carrier == "engine"), None)
    if first is None or not drives:
        return lines
    sweeps = [s for d in drives for s in sweeps_of(d, lines, truck)]
    # Only the engine's own lines are taken off: a line of the road must not hide an order that
    # falls on it in one gear.
    engine = [i for i, x in enumerate(lines) if x.carrier == "engine"]
    chosen = [c for c in choose_lines(sweeps).lines if c in engine]
    rate = min(d.rate for d in drives)
    known = [x.multiple for x in lines if x.carrier == "engine"]
    found = unlisted_orders(sweeps, (first, lines[first].multiple), chosen, known, rate=rate)
    for one in found:
        slipping = _slipping(lines, one.order, [lines[c].name for c in chosen])
        if slipping is not None:
            lines = tuple(replace(x, multiple=one.order) if x is slipping else x for x in lines)
        else:
            lines = (*lines, _named(one.order, lines))
    return lines


def _slipping(lines: Sequence[Line], order: float, chosen: Sequence[str]) -> Line | None:
    """Return the listed part whose belt slips to this order; not one that was found as listed."""
    near = [x for x in lines if x.accessory and x.name not in chosen
            and not x.name.startswith(UNLISTED)
            and abs(order / x.multiple - 1.0) <= _SLIP]  # fmt: skip
    return min(near, key=lambda x: abs(x.multiple - order), default=None)


def _named(order: float, lines: Sequence[Line]) -> Line:
    half = round(2.0 * order) / 2.0
    if abs(order - half) <= _HALF:
        return Line(f"engine order {half:g}", "engine", half)
    for line in lines:
        for times in (2, 3):
            if line.accessory and abs(order / (times * line.multiple) - 1.0) <= _SLIP / 2:
                name = line.name.removesuffix(" 1x")
                return Line(f"{name} {times}x", "engine", order, accessory=True)
    return Line(f"{UNLISTED} {order:.2f}", "engine", order, accessory=True)
