"""Turn the rows of the study into its table (RESULTS.md), with standard errors."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from witnessmark.inference.fuel_groups import GROUPS, HYPOTHESES
from witnessmark.inference.fuel_posterior import default_log_prior

HERE = Path(__file__).parent
NAMES = {"unknown": "type unknown", "known": "type known",
         "other": "type unknown, other physics"}  # fmt: skip
SETS = ("two readings", "through return flow", "kit C")
MEMBERS = np.array([[g in h for g in range(9)] for h in HYPOTHESES])
#: Wrong fault shares: the truths are re-weighted, the inference keeps its own prior.
WRONG = {
    "flat": [1.0] * 8 + [0.2],
    "reversed": [0.05, 0.05, 0.10, 0.10, 0.12, 0.18, 0.20, 0.20, 0.03],
    "pump x5": [0.20, 0.20, 0.18, 0.60, 0.10, 0.10, 0.05, 0.05, 0.03],
}


def main() -> None:
    """Write RESULTS.md from every file of rows there is."""
    lines = ["# Accuracy of the fuel posterior", "", (HERE / "ABOUT.md").read_text()]
    rows = {k: _read(HERE / "rows" / f"{k}.csv") for k in NAMES}
    measures = "top-1 | top-2 | Brier | ECE | a part stated above 80 %: share / right |"
    lines += ["", f"| truth | readings | engines | {measures} median effective draws |"]
    lines.append("|-|-|-|-|-|-|-|-|-|")
    for key, name in NAMES.items():
        found = rows[key]
        if found is not None:
            lines += [f"| {name} | {chosen} | {_line(found, chosen)} |" for chosen in SETS]
    lines += ["", "Truths drawn from wrong fault shares (type unknown, same engines re-weighted):"]
    lines += ["", f"| shares of the truths | readings | effective engines | {measures} draws |"]
    lines.append("|-|-|-|-|-|-|-|-|-|")
    for name, shares in WRONG.items():
        ratio = np.exp(default_log_prior(shares) - default_log_prior())
        found = rows["unknown"]
        if found is not None:
            lines += [f"| {name} | {chosen} | {_line(found, chosen, ratio)} |" for chosen in SETS]
    lines += ["", "Mean probability stated for the true single fault, type unknown:", ""]
    lines += ["| fault | engines | two readings | through return flow | kit C |", "|-|-|-|-|-|"]
    if rows["unknown"] is not None:
        lines += _by_fault(rows["unknown"])
    (HERE / "RESULTS.md").write_text("\n".join(lines) + "\n")


def _read(path: Path):
    if not path.exists():
        return None
    with path.open() as file:
        return [r for r in csv.DictReader(file) if r.get("g8")]


def _parts(rows, chosen):
    some = [r for r in rows if r["set"] == chosen]
    truth = np.array([int(r["truth"]) for r in some])
    p = np.array([[float(r[f"g{i}"]) for i in range(9)] for r in some])
    healthy = np.array([float(r["healthy"]) for r in some])
    return some, truth, p, healthy


def _line(rows, chosen, ratio=None) -> str:
    some, truth, p, healthy = _parts(rows, chosen)
    y = MEMBERS[truth]
    w = np.ones(len(truth)) if ratio is None else ratio[truth]
    w = w / w.sum()
    n = 1 / np.square(w).sum()
    order = np.argsort(-np.column_stack([p, healthy]), axis=1)
    hit = np.column_stack([y, ~y.any(axis=1)])
    rows_ = np.arange(len(truth))
    top1 = hit[rows_, order[:, 0]]
    top2 = top1 | hit[rows_, order[:, 1]]
    brier = ((p[:, :8] - y[:, :8]) ** 2).mean(axis=1)
    flat_p, flat_y = p[:, :8].ravel(), y[:, :8].ravel().astype(float)
    flat_w = np.repeat(w, 8) / 8
    bins = np.minimum((flat_p * 10).astype(int), 9)
    ece = sum(
        abs((flat_w * (flat_p - flat_y))[bins == b].sum()) for b in range(10)
    )  # fmt: skip
    best = p[:, :8].max(axis=1)
    said = best > 0.8
    right = y[rows_, p[:, :8].argmax(axis=1)]
    share = float(w[said].sum())
    correct = float((w * right)[said].sum() / share) if share > 0 else float("nan")
    n_said = max(share * n, 1)
    effective = int(np.median([float(r["effective"]) for r in some]))

    def pm(value: float, count: float) -> str:
        return f"{value:.3f} ± {np.sqrt(max(value * (1 - value), 1e-9) / count):.3f}"

    figures = [pm(float(w @ top1), n), pm(float(w @ top2), n), f"{w @ brier:.4f}", f"{ece:.4f}"]
    said_words = f"{share:.2f} / {pm(correct, n_said)}"
    return " | ".join([f"{n:.0f}", *figures, said_words, str(effective)])


def _by_fault(rows) -> list[str]:
    found = []
    parts = [_parts(rows, s) for s in ("two readings", "through return flow", "kit C")]
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
