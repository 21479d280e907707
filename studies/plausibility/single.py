"""One sensor: false alarms on real swings, detection of faults, calibration of the probability.

Run: nice -n 15 python studies/plausibility/single.py [DRIVES]   (writes single.md beside it)
"""

from __future__ import annotations

import itertools
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import numpy.typing as npt

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent.parent / "src")]

from plant import DT, KINDS_FAULT, KINDS_REAL, simulate  # noqa: E402

from witnessmark.analyses.sensors.liveliness import PROFILES  # noqa: E402
from witnessmark.analyses.sensors.one_trace import SEEN_FROM, TraceVerdict, judge_many  # noqa: E402
from witnessmark.analyses.sensors.trace_samples import prepare  # noqa: E402

COOLANT = PROFILES["coolant_temperature"]
SECONDS = 900.0
SEED = 91000


@dataclass
class Row:
    """Drives of one kind at one rate.

    Attributes:
        verdicts: one a drive.
        sampled: whether a fault was sampled at all, one a drive.
        rates: largest real change within a second, one a drive [K].
    """

    verdicts: list[TraceVerdict] = field(default_factory=list)
    sampled: list[bool] = field(default_factory=list)
    rates: list[float] = field(default_factory=list)


def study(kind: str, drives: int, seed: int, rates: Sequence[float]) -> dict[float, Row]:
    """Return a row for every broadcast rate; the same drives at all of them."""
    rng = np.random.default_rng(seed)
    rows = {every: Row() for every in rates}
    for first in range(0, drives, 250):
        made = simulate(kind, min(250, drives - first), SECONDS, rng)
        real = np.abs(made.sensed[:, 10:] - made.sensed[:, :-10]).max(axis=1)
        for every, row in rows.items():
            stride = round(every / DT)
            shift = int(rng.integers(stride)) if stride > 1 else 0
            time = made.time[shift::stride]
            readings = made.reading[:, shift::stride]
            traces = [prepare(time, r, COOLANT) for r in readings]
            row.verdicts += judge_many([t for t in traces if t is not None], COOLANT)
            row.sampled += list(made.faulty[:, shift::stride].any(axis=1))
            row.rates += list(real)
    return rows


def main(drives: int = 500) -> None:
    lines = [
        "# One coolant sensor: what the detector does on simulated drives",
        "",
        f"{drives} drives of {SECONDS / 60:.0f} min a row, 1 degC steps; called from a log Bayes "
        f"factor of {SEEN_FROM:g} on. The plant (plant.py) is another model than the detector's. "
        "Beside each share its standard error.",
        "",
        "| truth | every | drives | called | of those with a faulty sample | largest real "
        "change in 1 s, q50/q95/max, K | called by the rule 'step of 3 K' |",
        "|---|---|---|---|---|---|---|",
    ]
    claims: list[tuple[float, bool]] = []
    first = ("contact_3_10", "glitches_2_5", "healthy", "sticky", "gas_pocket", "winter_slug",
             "fan_cycling", "overheating")  # fmt: skip
    for number, kind in enumerate((*first, *sorted({*KINDS_REAL, *KINDS_FAULT} - {*first}))):
        rates = (1.0, 5.0, 0.1) if kind in first else (1.0,)
        for every, row in study(kind, drives, SEED + number, rates).items():
            verdicts, seen = row.verdicts, np.array(row.sampled)
            called = np.array([v.log_factor >= SEEN_FROM and bool(v.spans) for v in verdicts])
            among = f"{_share(called[seen])} of {seen.sum()}" if seen.any() else "-"
            steps = [np.abs(np.diff(v.trace.values)).max() >= 3.0 for v in verdicts]
            q = np.percentile(row.rates, [50, 95, 100])
            lines.append(
                f"| {kind} | {every:g} s | {len(verdicts)} | {_share(called)} | {among} | "
                f"{q[0]:.2f} / {q[1]:.2f} / {q[2]:.2f} | {np.mean(steps):.1%} |"
            )
            print(lines[-1], flush=True)
            if every == 1.0:
                claims += [(v.probability, kind in KINDS_FAULT) for v in verdicts]
            _write(lines, claims)


def _share(called: npt.NDArray[np.bool_]) -> str:
    """Return a share in per cent with its standard error."""
    p, of = float(called.mean()), called.size
    error = np.sqrt(max(p * (1.0 - p), (1.0 - 1.0 / of) / of) / of)
    return f"{100 * p:.1f} ± {100 * error:.1f} %"


def _write(lines: list[str], claims: list[tuple[float, bool]]) -> None:
    """Write the table as far as it is."""
    tail = ["", "## Claimed probability of a circuit fault against the truth (1 s rows)", ""]
    tail += ["| claimed | drives | were faulty |", "|---|---|---|"]
    edges = [0.0, 0.05, 0.2, 0.5, 0.8, 0.95, 0.999, 1.0001]
    claimed = np.array([c for c, _ in claims])
    truth = np.array([t for _, t in claims])
    for low, high in itertools.pairwise(edges):
        here = (claimed >= low) & (claimed < high)
        if here.any():
            share = truth[here].mean()
            tail.append(f"| {low:g} to {min(high, 1.0):g} | {here.sum()} | {share:.3f} |")
    (HERE / "single.md").write_text("\n".join(lines + tail) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 500)
