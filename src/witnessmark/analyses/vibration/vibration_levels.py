"""Levels of the lines by gear, engine speed and load: the cells that before and after share."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from witnessmark.analyses.vibration.vibration_drives import VibrationDrive, sweeps_of
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.recording import Floats
from witnessmark.physics.vibration.orders.line_selection import Sweep
from witnessmark.physics.vibration.orders.order_blocks import block_orders
from witnessmark.physics.vibration.orders.order_lines import Line
from witnessmark.physics.vibration.orders.order_tracking import Windows, level, order_windows, turns

__all__ = ["Cell", "cells", "cells_in_words", "order_table", "phasors"]

#: Width of a cell [r/min] and limits of the load classes [0..1].
RPM_STEP = 100.0
LOADS = (0.0, 0.25, 0.75, 2.0)
LOAD_WORDS = {-1: "load not known", 0: "light load", 1: "half load", 2: "full load"}
_HALF_ORDERS = tuple(k / 2 for k in range(1, 25))
_WINDOW = 1.0
_PHASORS = 400
#: An accessory nearer than this to a half order (twice the difference) stands in its row [-].
_APART = 0.06


@dataclass(frozen=True, slots=True)
class Cell:
    """One line at one gear, engine speed and load.

    Attributes:
        line: name of the line.
        gear: gear name.
        rpm: middle of the cell [r/min].
        load: number of the load class, -1 where the load is not known.
        power: shape (w,), squared amplitude without the floor of each window [(m/s2)^2].
    """

    line: str
    gear: str
    rpm: float
    load: int
    power: Floats

    @property
    def key(self) -> tuple[str, str, float, int]:
        """What two cells must share to be compared."""
        return self.line, self.gear, self.rpm, self.load

    def load_words(self) -> str:
        """Return the load class in words."""
        return LOAD_WORDS[self.load]


def cells(
    drives: Sequence[VibrationDrive], lines: Sequence[Line], truck: TruckData | None
) -> tuple[Cell, ...]:
    """Return the levels of the lines in every cell of the drives.

    Lines that coincide in a gear are fitted once, under the first one's name.
    """
    found: dict[tuple[str, str, float, int], list[float]] = {}
    for drive in drives:
        for sweep in sweeps_of(drive, lines, truck):
            kept = _apart(lines, sweep.cycles)
            if not kept:
                continue
            w = order_windows(sweep.time, sweep.values, sweep.cycles[:, kept], window=_WINDOW)
            power = w.power()
            for row, time in enumerate(w.time):
                rpm, load = _where(drive, float(time))
                for column, line in enumerate(kept):
                    key = (lines[line].name, sweep.label, rpm, load)
                    found.setdefault(key, []).append(float(power[row, column]))
    return tuple(Cell(*key, np.asarray(values)) for key, values in sorted(found.items()))


def cells_in_words(found: Sequence[Cell]) -> list[Mapping[str, object]]:
    """Return the cells as they stand in a finding: rms over all axes with its 95 % interval."""
    rows = [(cell, level(cell.power)) for cell in found]
    return [
        {
            "line": cell.line, "gear": cell.gear, "rpm": cell.rpm, "load": cell.load_words(),
            "rms": _rms(x.amplitude), "low": _rms(x.low), "high": _rms(x.high),
            "windows": x.windows,
        }
        for cell, x in rows
    ]  # fmt: skip


def phasors(sweeps: Sequence[Sweep], lines: Sequence[Line], name: str) -> Mapping[str, object]:
    """Return one line's complex amplitude in every window, for balancing.

    The phase counts from the line's own turns since the first speed reading, so it says how the
    axes and the windows stand to each other; an angle on the shaft needs a mark on it.

    Args:
        sweeps: the drives by gear.
        lines: candidate lines.
        name: the line wanted.
    """
    number = next((i for i, line in enumerate(lines) if line.name == name), None)
    if number is None:
        return {}
    rows: list[list[float]] = []
    for sweep in sweeps:
        w = order_windows(sweep.time, sweep.values, sweep.cycles[:, [number]], window=2.0)
        for time, axes in zip(w.time, w.amplitude[:, 0], strict=True):
            parts = [round(float(v), 4) for a in axes for v in (a.real, a.imag)]
            rows.append([round(float(time), 2), *parts])
    return {"line": name, "columns": "time s, then real and imaginary part of each axis, m/s2 "
            "zero to peak", "rows": rows[:_PHASORS]}  # fmt: skip


def order_table(
    drives: Sequence[VibrationDrive], accessories: Sequence[float] = ()
) -> Mapping[str, object]:
    """Return amplitude by half order and engine speed, for the picture of the orders.

    Every half order that the sampling can show, and what turns at a ratio of its own; rms over the
    axes, floor taken off.

    Args:
        drives: the drives of a visit; the one sampled fastest is shown.
        accessories: turns per engine turn [-].
    """
    best = max(drives, key=lambda d: d.rate)
    top = float(np.percentile(best.speed[1], 95)) / 60.0
    orders = [k for k in _HALF_ORDERS if k * top < 0.45 * best.rate]
    own = [
        r for r in accessories
        if r * top < 0.45 * best.rate and abs(2 * r - round(2 * r)) > _APART
    ]  # fmt: skip
    orders = sorted({*orders, *own})
    if len(orders) < 2:
        return {}
    if best.even and best.rate >= 500 and not own:
        w = block_orders(
            np.ascontiguousarray(best.values.T), best.rate, *best.speed, orders,
            start=float(best.time[0]), window=1.0,
        )  # fmt: skip
    else:
        engine = turns(best.time, *best.speed)
        w = order_windows(best.time, best.values, engine[:, None] * np.asarray(orders), window=1.0)
    return _table(w, orders, best)


def _table(w: Windows, orders: Sequence[float], drive: VibrationDrive) -> Mapping[str, object]:
    if not len(w.time):
        return {}
    rpm = np.interp(w.time, *drive.speed)
    place = np.rint(rpm / 50.0) * 50.0
    speeds = sorted(set(place.tolist()))
    power = w.power()
    rows = []
    for speed in speeds:
        here = power[place == speed]
        rows.append([round(level(column).amplitude / 2**0.5, 4) for column in here.T])
    return {
        "orders": list(orders), "rpm": speeds, "rms": rows, "cells": _cells(w, power, drive),
    }  # fmt: skip


def _cells(w: Windows, power: Floats, drive: VibrationDrive) -> list[Mapping[str, object]]:
    """Every order with its 95 % interval in every cell of engine speed and load."""
    where = [_where(drive, float(t)) for t in w.time]
    found: list[Mapping[str, object]] = []
    for cell in sorted(set(where)):
        here = power[[place == cell for place in where]]
        rows = [[_rms(x.amplitude), _rms(x.low), _rms(x.high)] for x in map(level, here.T)]
        found.append(
            {"rpm": cell[0], "load": LOAD_WORDS[cell[1]], "windows": len(here), "rms": rows}
        )
    return found


def _rms(amplitude: float) -> float | None:
    """Zero-to-peak to rms, ``None`` where one window allows no interval."""
    return round(amplitude / 2**0.5, 4) if np.isfinite(amplitude) else None


def _where(drive: VibrationDrive, time: float) -> tuple[float, int]:
    rpm = float(np.interp(time, *drive.speed))
    middle = (np.floor(rpm / RPM_STEP) + 0.5) * RPM_STEP
    if len(drive.load[0]) < 2:
        return float(middle), -1
    load = float(np.interp(time, *drive.load))
    return float(middle), int(np.clip(np.searchsorted(LOADS, load, side="right") - 1, 0, 2))


def _apart(lines: Sequence[Line], cycles: Floats) -> list[int]:
    """Numbers of the lines whose turns are known and differ from the ones before."""
    kept: list[int] = []
    for i in range(len(lines)):
        column = cycles[:, i]
        if not np.any(np.isfinite(column)):
            continue
        rate = np.nanmean(np.diff(column))
        if all(abs(np.nanmean(np.diff(cycles[:, j])) / rate - 1) > 0.012 for j in kept):
            kept.append(i)
    return kept
