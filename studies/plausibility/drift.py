"""A reading that is steadily off or drifts: what the thermostat and the oil tell.

Run: nice -n 15 python studies/plausibility/drift.py [DRIVES]   (writes drift.md beside it)
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import numpy.typing as npt

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent / "src")]

from plant import KINDS_REAL, simulate  # noqa: E402
from truck import lagged  # noqa: E402

from witnessmark.analyses.sensors.sensor_drift import RATED, held, wandered  # noqa: E402

Floats = npt.NDArray[np.float64]
SECONDS, GRID, SEED = 2400.0, 100, 7700
#: What is put into the reading: name, degC at the begin, degC at the end.
PUT = (("nothing", 0.0, 0.0), ("-18 K", -18.0, -18.0), ("+18 K", 18.0, 18.0),
       ("drifts by -15 K", 0.0, -15.0))  # fmt: skip


def said(time: Floats, values: Floats, oil: Floats, load: Floats) -> tuple[bool, bool]:
    """Return whether it is called steadily off, and whether it is called drifting."""
    still = held(time, values, load)
    off = still is not None and not RATED[0] <= still.level <= RATED[1]
    moved = wandered(values, oil, load)
    drifts = (
        moved is not None
        and abs(moved[0]) >= 5.0
        and abs(moved[2]) <= 12.0
        and moved[1] / moved[0] <= 0.15
    )
    return off, drifts


def main(drives: int = 500) -> None:
    """Write the table row by row."""
    lines = [
        "# A coolant reading that is steadily off, or drifts",
        "",
        f"Drives of {SECONDS / 60:.0f} min of the plant of plant.py; the oil follows the coolant "
        "in 200 s. Beside each share its standard error. What is not called stays open: a probe "
        "or a cold soak tells more.",
        "",
        "| truth | put into the reading | drives | called steadily off | called drifting |",
        "|---|---|---|---|---|",
    ]
    for number, kind in enumerate(KINDS_REAL):
        rng = np.random.default_rng(SEED + number)
        counts = np.zeros((len(PUT), 2), int)
        for first in range(0, drives, 125):
            made = simulate(kind, min(125, drives - first), SECONDS, rng)
            time = made.time[::GRID]
            for row in range(made.reading.shape[0]):
                load = 100.0 * made.load[row].reshape(-1, GRID).mean(axis=1)
                oil = lagged(made.sensed[row], 200.0)[::GRID] + 10.0
                for k, (_, begin, end) in enumerate(PUT):
                    put = np.linspace(begin, end, time.size)
                    counts[k] += said(time, made.reading[row, ::GRID] + put, oil, load)
        for (name, *_), (off, drifts) in zip(PUT, counts, strict=True):
            lines.append(
                f"| {kind} | {name} | {drives} | {share(off, drives)} | {share(drifts, drives)} |"
            )
        print("\n".join(lines[-len(PUT) :]), flush=True)
        (HERE / "drift.md").write_text("\n".join(lines) + "\n", encoding="utf-8")


def share(count: int, of: int) -> str:
    """Return a share in per cent with its standard error."""
    p = count / of
    error = np.sqrt(max(p * (1.0 - p), (1.0 - 1.0 / of) / of) / of)
    return f"{100 * p:.1f} ± {100 * error:.1f} %"


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
