"""Turn the rows of the study into its table (RESULTS.md), with standard errors."""

from __future__ import annotations

import csv
import gzip
from pathlib import Path

import numpy as np
from run import COUNTS_WRONG, WRONG

from witnessmark.inference.fuel_groups import GROUPS, HYPOTHESES
from witnessmark.inference.fuel_posterior import default_log_prior
from witnessmark.physics.fuel_supply_types import LAYOUTS

HERE = Path(__file__).parent
NAMES = {"unknown": "type unknown", "known": "type known",
         "learnt": "type learnt from one healthy truck",
         "other": "type unknown, other physics"}  # fmt: skip
SETS = ("two readings", "through return flow", "kit C")
MORE = ("two readings + onset", "kit C", "kit C + cold idle", "kit C + cold idle + onset")
MEMBERS = np.array([[g in h for g in range(9)] for h in HYPOTHESES])
RELIEF, PUMP = HYPOTHESES.index(frozenset({0})), HYPOTHESES.index(frozenset({3}))
SIZES = ((-99.0, 4.0, "below 4 psi"), (4.0, 8.0, "4 to 8"), (8.0, 15.0, "8 to 15"),
         (15.0, 999.0, "above 15"))  # fmt: skip
MEASURES = 'top-1 | top-2 | top-1 with "nothing" | Brier | ECE | a part above 80 %: share / right'


def main() -> None:
    """Write RESULTS.md from every file of rows there is."""
    lines = ["# Accuracy of the fuel posterior", "", (HERE / "ABOUT.md").read_text()]
    rows = {k: _read(HERE / "rows" / f"{k}.csv") for k in (*NAMES, "wrong")}
    lines += ["", f"| truth | readings | engines | {MEASURES} | median effective draws |"]
    lines.append("|-|-|-|-|-|-|-|-|-|-|")
    for key, name in NAMES.items():
        lines += [f"| {name} | {s} | {_line(rows[key], s)} |" for s in SETS if rows[key]]
    lines += ["", "Type known, layout by layout:", ""]
    lines += [f"| layout | readings | engines | {MEASURES} | draws |", "|-|-|-|-|-|-|-|-|-|-|"]
    for layout in LAYOUTS:
        some = [r for r in rows["known"] if r["part"] == layout]
        name = layout.replace("_", " ")
        lines += [f"| {name} | {s} | {_line(some, s)} |" for s in SETS if some]
    lines += [
        "", "Truths drawn from wrong fault shares, type unknown (engines of the own and of wrong "
        "shares together, re-weighted to each; the inference keeps its own shares):", "",
        f"| shares of the truths | readings | effective engines | {MEASURES} | draws |",
        "|-|-|-|-|-|-|-|-|-|-|",
    ]  # fmt: skip
    both = [*rows["unknown"], *rows["wrong"]]
    for name, shares in WRONG.items():
        ratio = _prior(shares) / _mixture(both)
        lines += [f"| {name} | {s} | {_line(both, s, ratio)} |" for s in SETS if both]
    lines += ["", "More evidence (every fourth engine is also read cold):", ""]
    lines += [f"| truth | readings | engines | {MEASURES} | draws |", "|-|-|-|-|-|-|-|-|-|-|"]
    for key in ("unknown", "known"):
        cold = {(r["part"], r["engine"]) for r in rows[key] if r["set"] == MORE[2]}
        some = [r for r in rows[key] if (r["part"], r["engine"]) in cold]
        lines += [f"| {NAMES[key]} | {s} | {_line(some, s)} |" for s in MORE if some]
    lines += _relief_against_pump(rows["unknown"])
    lines += ["", "By the true loss of pressure (the larger of idle and 1,400 rpm, gauge faults "
              "left out), type unknown, top-1:", "",
              "| loss | engines | two readings | through return flow | kit C |",
              "|-|-|-|-|-|"]  # fmt: skip
    for low, high, words in SIZES:
        some = [r for r in rows["unknown"] if low <= float(r["loss"]) < high
                and 7 not in HYPOTHESES[int(r["truth"])]]  # fmt: skip
        count = len([r for r in some if r["set"] == SETS[0]])
        lines.append(f"| {words} | {count} | " + " | ".join(_top1(some, s) for s in SETS) + " |")
    lines += ["", "Mean probability stated for the true single fault, type unknown:", ""]
    lines += ["| fault | engines | two readings | through return flow | kit C |", "|-|-|-|-|-|"]
    lines += _by_fault(rows["unknown"])
    (HERE / "RESULTS.md").write_text("\n".join(lines) + "\n")


def _read(path: Path):
    kept = path.with_suffix(".csv.gz")
    if not path.exists() and not kept.exists():
        return []
    with path.open() if path.exists() else gzip.open(kept, "rt", newline="") as file:
        return [r for r in csv.DictReader(file) if r.get("g8")]


def _prior(shares=None) -> np.ndarray:
    p = np.exp(default_log_prior(shares))[:-1]
    return np.append(p / p.sum(), 1.0)


def _mixture(rows) -> np.ndarray:
    """Return how often each truth was drawn on the whole, up to a factor.

    Engines are drawn until enough have a low reading. The share of those that have one under
    other fault shares, against the own, is the mean ratio of the two over the engines kept.
    """
    own = np.array(
        [int(r["truth"]) for r in rows if r["part"] == "unknown" and r["set"] == SETS[0]]
    )
    mixed = len(own) * _prior()
    for name in COUNTS_WRONG:
        count = len({r["engine"] for r in rows if r["part"] == name})
        low = float(np.mean((_prior(WRONG[name]) / _prior())[own]))
        mixed = mixed + count / low * _prior(WRONG[name])
    return mixed


def _parts(rows, chosen):
    some = [r for r in rows if r["set"] == chosen]
    truth = np.array([int(r["truth"]) for r in some])
    p = np.array([[float(r[f"g{i}"]) for i in range(9)] for r in some])
    healthy = np.array([float(r["healthy"]) for r in some])
    return some, truth, p, healthy


def _pm(value: float, count: float) -> str:
    return f"{value:.3f} ± {np.sqrt(max(value * (1 - value), 1e-9) / max(count, 1)):.3f}"


def _line(rows, chosen, ratio=None) -> str:
    some, truth, p, healthy = _parts(rows, chosen)
    y = MEMBERS[truth]
    w = np.ones(len(truth)) if ratio is None else ratio[truth]
    w = w / w.sum()
    n = 1 / np.square(w).sum()
    rows_ = np.arange(len(truth))
    order = np.argsort(-p[:, :8], axis=1)
    top1 = y[rows_, order[:, 0]]
    top2 = top1 | y[rows_, order[:, 1]]
    hit = np.column_stack([y, ~y.any(axis=1)])
    wide = hit[rows_, np.argmax(np.column_stack([p, healthy]), axis=1)]
    brier = ((p[:, :8] - y[:, :8]) ** 2).mean(axis=1)
    flat_p, flat_y = p[:, :8].ravel(), y[:, :8].ravel().astype(float)
    flat_w = np.repeat(w, 8) / 8
    bins = np.minimum((flat_p * 10).astype(int), 9)
    ece = sum(abs((flat_w * (flat_p - flat_y))[bins == b].sum()) for b in range(10))
    said = p[:, :8].max(axis=1) > 0.8
    share = float(w[said].sum())
    correct = float((w * top1)[said].sum() / share) if share > 0 else float("nan")
    n_said = 1 / np.square(w[said] / w[said].sum()).sum() if said.any() else 1
    effective = int(np.median([float(r["effective"]) for r in some]))
    figures = [_pm(float(w @ top1), n), _pm(float(w @ top2), n), f"{w @ wide:.3f}",
               f"{w @ brier:.4f}", f"{ece:.4f}"]  # fmt: skip
    return " | ".join(
        [f"{n:.0f}", *figures, f"{share:.2f} / {_pm(correct, n_said)}", str(effective)]
    )


def _top1(rows, chosen) -> str:
    _, truth, p, _ = _parts(rows, chosen)
    if not len(truth):
        return ""
    return _pm(float(MEMBERS[truth][np.arange(len(truth)), p[:, :8].argmax(axis=1)].mean()),
               len(truth))  # fmt: skip


def _relief_against_pump(rows) -> list[str]:
    lines = ["", "Relief valve and pump, single faults, type unknown: mean probability stated for "
             "the true one / for the other:", "",
             "| truth | engines | " + " | ".join(MORE) + " |", "|-|-|-|-|-|-|"]  # fmt: skip
    cold = {r["engine"] for r in rows if r["set"] == MORE[2]}
    some = [r for r in rows if r["engine"] in cold]
    for name, h, own, other in (("relief valve", RELIEF, 0, 3), ("worn pump", PUMP, 3, 0)):
        cells, count = [], 0
        for chosen in MORE:
            _, truth, p, _ = _parts(some, chosen)
            here = truth == h
            count = int(here.sum())
            cells.append(
                f"{p[here, own].mean():.2f} / {p[here, other].mean():.2f}" if count else ""
            )
        lines.append(f"| {name} | {count} | " + " | ".join(cells) + " |")
    return lines


def _by_fault(rows) -> list[str]:
    found = []
    parts = [_parts(rows, s) for s in SETS]
    for g in range(8):
        h = HYPOTHESES.index(frozenset({g}))
        means = [f"{p[t == h][:, g].mean():.2f} ± "
                 f"{p[t == h][:, g].std() / np.sqrt(max((t == h).sum(), 1)):.2f}"
                 for _, t, p, _ in parts if (t == h).any()]  # fmt: skip
        count = int((parts[0][1] == h).sum())
        found.append(f"| {GROUPS[g].name} | {count} | " + " | ".join(means or ["", "", ""]) + " |")
    return found


if __name__ == "__main__":
    main()
