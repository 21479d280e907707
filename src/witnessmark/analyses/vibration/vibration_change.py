"""Before and after in matched cells: the complaint's lines, what changed, what could be proven."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from witnessmark.analyses.an_analysis import Bench, not_run
from witnessmark.analyses.vibration.vibration_drives import VibrationDrive
from witnessmark.analyses.vibration.vibration_levels import Cell
from witnessmark.late import late
from witnessmark.model.details.shake_details import LineChange, VibrationChanged
from witnessmark.model.finding import Evidence, Finding, OperatingPoint, Outcome
from witnessmark.physics.vibration.vibration_family import FamilyVerdict

if TYPE_CHECKING:
    from scipy import stats
else:
    stats = late("scipy.stats")

__all__ = ["Change", "change", "compare"]

METHOD = "vibration_change/1"
MODEL = "vibration"
_LEAST = 2  # windows a cell needs on both sides


@dataclass(frozen=True, slots=True)
class Change:
    """One line over all matched cells, rms over all axes [m/s2].

    Attributes:
        line: its name.
        before: level before.
        after: level after.
        low: lower end of after minus before.
        high: upper end.
        provable: smallest fall that this material could have shown.
        cells: matched cells as (gear, rpm, load in words).
    """

    line: str
    before: float
    after: float
    low: float
    high: float
    provable: float
    cells: tuple[tuple[str, float, str], ...]

    @property
    def fallen(self) -> bool:
        """The interval of the change lies below zero."""
        return self.high < 0.0


def compare(line: str, before: Sequence[Cell], after: Sequence[Cell]) -> Change | None:
    """Compare one line in the cells that both sides have; ``None`` without any.

    The mean squares of the matched cells are averaged with equal weight, so that more time spent
    at one speed on one side does not matter. The interval is Welch's on the mean squares, carried
    over to the levels (shared with ``physics.orders``).

    Args:
        line: name of the line.
        before: cells of the earlier visit.
        after: cells of the later visit.
    """
    old = {c.key: c for c in before if c.line == line and len(c.power) >= _LEAST}
    new = {c.key: c for c in after if c.line == line and len(c.power) >= _LEAST}
    shared = sorted(set(old) & set(new))
    if not shared:
        return None
    means, errors, freedom = [], [], []
    for side in (old, new):
        cells = [side[k] for k in shared]
        means.append(float(np.mean([c.power.mean() for c in cells])))
        errors.append(float(sum(c.power.var(ddof=1) / len(c.power) for c in cells)) ** 0.5
                      / len(cells))  # fmt: skip
        freedom.append(sum(len(c.power) - 1 for c in cells))
    levels = [float(np.sqrt(max(m, 0.0) / 2)) for m in means]
    t = float(stats.t.ppf(0.975, max(min(freedom), 1)))
    clear = [m - t * e > 0 for m, e in zip(means, errors, strict=True)]
    if all(clear):
        slopes = [e / (2 * np.sqrt(2 * m)) for m, e in zip(means, errors, strict=True)]
        half = t * float(np.hypot(*slopes))
        low, high = levels[1] - levels[0] - half, levels[1] - levels[0] + half
    else:
        ends = [
            [float(np.sqrt(max(m + s * t * e, 0.0) / 2)) for s in (-1, 1)]
            for m, e in zip(means, errors, strict=True)
        ]
        low, high = ends[1][0] - ends[0][1], ends[1][1] - ends[0][0]
    fall = t * errors[0] * float(np.sqrt(1 + freedom[0] / max(freedom[1], 1)))
    provable = levels[0] - float(np.sqrt(max(means[0] - fall, 0.0) / 2))
    words = tuple((old[k].gear, old[k].rpm, old[k].load_words()) for k in shared)
    return Change(line, levels[0], levels[1], low, high, provable, words)


def change(
    bench: Bench,
    tables: Mapping[int, tuple[FamilyVerdict, tuple[Cell, ...]]],
    drives: Mapping[int, Sequence[VibrationDrive]],
) -> list[Finding]:
    """Return what every later recording shows against the one before the first work."""
    stages = sorted(tables)
    if len(stages) < 2:
        if bench.last_stage() > 0 and stages and bench.asks(MODEL):
            reason = "record the same pull again: same gear, same rpm, same load"
            sentence = "Whether the vibration is gone is not known: only one visit was recorded."
            if len(drives) > 1:
                sentence = "Whether the vibration is gone is not known: the clocks of one visit's "
                sentence += "recordings are not confirmed."
            return [not_run("vibration_change", sentence, reason, METHOD, stage=bench.last_stage())]
        return []
    first = stages[0]
    found = []
    for stage in stages[1:]:
        found += _one(first, stage, tables, drives)
    return found


def _one(
    first: int,
    stage: int,
    tables: Mapping[int, tuple[FamilyVerdict, tuple[Cell, ...]]],
    drives: Mapping[int, Sequence[VibrationDrive]],
) -> list[Finding]:
    before, after = tables[first], tables[stage]
    lines = list(before[0].abnormal) or [before[0].line]
    changes = [c for line in lines if line and (c := compare(line, before[1], after[1]))]
    evidence = Evidence(
        tuple(d.entry for s in (first, stage) for d in drives[s]), drives[stage][0].sha256
    )
    if not changes:
        sentence = "Before and after cannot be compared."
        reason = "no gear, engine speed and load was recorded both before and after"
        if not any(lines):
            reason = "nothing abnormal was recorded before the work"
        finding = not_run("vibration_change", sentence, reason, METHOD, stage=stage)
        return [finding]
    still = [line for line in after[0].abnormal if line in lines]
    fallen = [c for c in changes if c.fallen]
    if still or after[0].abnormal:
        outcome: Outcome = "seen"
    elif len(fallen) == len(changes):
        outcome = "not_seen"
    else:
        outcome = "inconclusive"
    lead = changes[0]
    parts = [
        f"the {c.line} went from {c.before:.2f} to {c.after:.2f} m/s2 rms"
        + ("" if c.fallen or c.low > 0 else f" (a change under {c.provable:.2f} cannot be shown)")
        for c in changes
    ]
    sentence = f"At the same gear, speed and load {'; '.join(parts)}."
    left = list(after[0].abnormal)
    lower = {c.line for c in fallen}
    cured = lower - set(left)
    stayed = [name for name in left if name not in lower]
    less = [name for name in left if name in lower]
    if stayed and lower:
        sentence += f" The {' and the '.join(stayed)} stayed high: there is a second cause."
    elif stayed:
        sentence += f" The {' and the '.join(stayed)} is still high."
    if less:
        sentence += f" The {' and the '.join(less)} is lower, but still high"
        sentence += ": there is a second cause." if cured else "."
    return [
        Finding(
            code="vibration_change",
            sentence=sentence,
            outcome=outcome,
            reason="the change is smaller than this material can show"
            if outcome == "inconclusive"
            else "",
            method=METHOD,
            quantity="vibration",
            value=lead.after - lead.before,
            unit="m/s2",
            low=lead.low,
            high=lead.high,
            coverage=0.95,
            point=OperatingPoint(rpm=lead.cells[0][1], gear=lead.cells[0][0]),
            evidence=evidence,
            stage=stage,
            details=VibrationChanged(
                lines=[
                    LineChange(
                        line=c.line, before=c.before, after=c.after, low=c.low, high=c.high,
                        provable=c.provable, cells=[list(cell) for cell in c.cells],
                    )
                    for c in changes
                ],
                second_cause=bool((stayed and lower) or (less and cured)),
                curve_before=_curve(lead.line, before[1]),
                curve_after=_curve(lead.line, after[1]),
            ),
        )
    ]  # fmt: skip


def _curve(line: str, cells: Sequence[Cell]) -> list[list[float]]:
    """(rpm, rms level, windows) of one line for the picture, gears and loads together."""
    by_speed: dict[float, list[float]] = {}
    for cell in cells:
        if cell.line == line:
            by_speed.setdefault(cell.rpm, []).extend(cell.power.tolist())
    return [
        [rpm, float(np.sqrt(max(float(np.mean(p)), 0.0) / 2)), float(len(p))]
        for rpm, p in sorted(by_speed.items())
    ]
