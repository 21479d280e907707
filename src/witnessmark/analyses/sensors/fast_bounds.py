"""Fast quantities against what the machine can do: a step too large for the time it took."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from witnessmark.analyses.sensors.liveliness import BOUNDS, Bound
from witnessmark.model.details.trace_details import TooFastChanges
from witnessmark.model.finding import Evidence, Finding
from witnessmark.model.recording import Channel, Floats, Recording
from witnessmark.units import QUANTITIES, UNITS, display_unit, spoken

__all__ = ["TooFast", "too_fast", "too_fast_findings"]

#: Steps over a longer pause say nothing about a rate [s].
_PAUSE_S = 3.0
#: The reading is back within this time [s] and this share of the step.
_BACK_S, _BACK = 10.0, 0.35
#: From running to running through a standstill takes longer than this [s].
_RESTART_S = 3.2


@dataclass(frozen=True, slots=True)
class TooFast:
    """A step that the machine cannot make, and back.

    Attributes:
        start_s: when [s].
        end_s: when it was back [s].
        step: its size, house unit.
        within_s: time it took [s].
    """

    start_s: float
    end_s: float
    step: float
    within_s: float


def too_fast(channel: Channel, bound: Bound) -> list[TooFast]:
    """Return the steps beyond a bound that come back to where they were.

    A step that stays is left alone: a key switched on, a recorder that joined late and a start-up
    value look the same.

    Args:
        channel: the channel; only valid samples are used, and never across a pause.
        bound: fastest change [house unit/s] and the grain [house unit].
    """
    mask = channel.valid()
    time, values = channel.time_s[mask], channel.values[mask]
    if time.size < 10:
        return []
    taken, steps = np.diff(time), np.diff(values)
    close = (taken > 0.0) & (taken <= _PAUSE_S)
    over = close & (np.abs(steps) > bound.grain + bound.rate * taken)
    found: list[TooFast] = []
    last = -np.inf
    for k in np.flatnonzero(over):
        if time[k] < last:
            continue
        base, step = values[k], steps[k]
        end = int(np.searchsorted(time, time[k + 1] + _BACK_S, side="right"))
        # Back by a step as fast, not by a slow return.
        back = [
            j
            for j in range(int(k) + 1, min(end, time.size - 1))
            if over[j] and steps[j] * step < 0.0 and abs(values[j + 1] - base) <= _BACK * abs(step)
        ]
        if back:
            last = float(time[back[0] + 1])
            found.append(TooFast(float(time[k + 1]), last, float(step), float(taken[k])))
    if bound.floor is not None:
        found += _stopped(time, values, bound.floor, found)
    return found


def _stopped(time: Floats, values: Floats, floor: float, known: list[TooFast]) -> list[TooFast]:
    """Return the stops that ended too soon to have been real."""
    low = values < floor
    edges = np.flatnonzero(np.diff(np.concatenate([[False], low, [False]]).astype(np.int8)))
    found = []
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        if first == 0 or end >= time.size:
            continue
        before, after = values[first - 1], values[end]
        soon = time[end] - time[first - 1] <= _RESTART_S
        fresh = all(not k.start_s <= time[first] <= k.end_s for k in known)
        if soon and fresh and min(before, after) > 2.0 * floor:
            taken = float(time[first] - time[first - 1])
            found.append(
                TooFast(float(time[first]), float(time[end]), float(values[first] - before), taken)
            )
    return found


def too_fast_findings(
    recording: Recording, entry_id: str, stage: int, known: Collection[str] = ()
) -> Iterator[Finding]:
    """Yield one finding for every fast quantity that jumps further than the machine can.

    Args:
        recording: the recording.
        entry_id: its entry.
        stage: its stage.
        known: quantities whose jumps were called with a probability already.
    """
    if recording.duration_s is None:
        return
    for name, bound in BOUNDS.items():
        channel = recording.channel(name)
        if channel is None or name in known:
            continue
        found = too_fast(channel, bound)
        if not found:
            continue
        unit = display_unit(name)
        factor = UNITS[QUANTITIES[name].house].factor / UNITS[unit].factor
        worst = max(found, key=lambda f: abs(f.step))
        most = bound.rate * factor
        words = spoken(name)
        yield Finding(
            code=f"{name}_too_fast",
            sentence=f"The {words} jumps by up to {abs(worst.step) * factor:.3g} {unit} within "
            f"{worst.within_s:.2g} s and back, {len(found)} time"
            f"{'s' if len(found) != 1 else ''}; the largest credible is about {most:.3g} {unit} "
            f"a second ({bound.why}). Look at its sensor, plug and ground before the machine.",
            outcome="seen",
            method="step_bound/1",
            quantity=name,
            value=worst.step,
            unit=QUANTITIES[name].house,
            evidence=Evidence(
                (entry_id,), recording.sha256, name, found[0].start_s, found[-1].end_s
            ),
            source=bound.source,
            stage=stage,
            details=TooFastChanges(difference=True, kind="too_fast", count=len(found)),
        )
