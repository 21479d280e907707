"""Turn the rows of the study into its table (RESULTS.md), with standard errors.

Prints the short table of docs/fuel_supply.md. A row holds how likely its readings are under every
hypothesis; what the shares of the faults and the onset make of them is worked out here, with the
product's own prior.
"""

from __future__ import annotations

import csv
import gzip
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from engines import JUDGED
from run import BLANK, COUNTS_WRONG, WRONG, truths_of

from witnessmark.inference.fuel.draws.fuel_posterior import default_log_prior
from witnessmark.inference.fuel.fuel_groups import FAMILY, GROUPS, HYPOTHESES
from witnessmark.inference.onset import mean_factor
from witnessmark.knowledge import load_knowledge
from witnessmark.physics.fuel.supply_types import LAYOUTS

HERE = Path(__file__).parent
ONSET = load_knowledge().families[FAMILY].onset
TWO, FLOW, KIT, COLD, KIT_COLD = (
    "two readings", "through return flow", "kit C", "two readings + cold idle",
    "kit C + cold idle",
)  # fmt: skip
SETS = (TWO, FLOW, KIT)
#: Readings, and whether the onset is known too.
MORE = ((TWO, False), (TWO, True), (COLD, False), (COLD, True), (KIT, False), (KIT_COLD, False),
        (KIT_COLD, True))  # fmt: skip
MEMBERS = np.array([[g in h for g in range(9)] for h in HYPOTHESES])
SIZES = ((-99.0, 4.0, "below 4 psi"), (4.0, 8.0, "4 to 8"), (8.0, 15.0, "8 to 15"),
         (15.0, 999.0, "above 15"))  # fmt: skip
MEASURES = 'top-1 | top-2 | top-1 with "nothing" | Brier | ECE | a part above 80 %: share / right'
HEAD = f"| truth | readings | engines | {MEASURES} | median effective draws |"


@dataclass
class Rows:
    """Rows of the study, one an engine and set of readings.

    Attributes:
        part: what the engine was drawn as.
        engine: its number.
        chosen: the set of readings.
        truth: number of the hypothesis that holds.
        loss: true loss of pressure [psi].
        sudden: whether it began suddenly.
        effective: effective draws.
        log_like: of the readings under every hypothesis, shape (n, hypotheses).
    """

    part: np.ndarray
    engine: np.ndarray
    chosen: np.ndarray
    truth: np.ndarray
    loss: np.ndarray
    sudden: np.ndarray
    effective: np.ndarray
    log_like: np.ndarray

    def __len__(self) -> int:
        return len(self.truth)

    def of(self, where: np.ndarray) -> Rows:
        """Return the rows at *where*."""
        return Rows(*(getattr(self, name)[where] for name in self.__dataclass_fields__))

    def set(self, name: str) -> Rows:
        """Return the rows of one set of readings."""
        return self.of(self.chosen == name)

    def read_cold(self) -> Rows:
        """Return the rows of the engines that were also read cold."""
        cold = np.unique(self.engine[self.chosen == KIT_COLD])
        return self.of(np.isin(self.engine, cold))

    def judged(self, *, onset: bool = False, trusted: bool = False) -> tuple[np.ndarray, ...]:
        """Return P(group at fault), shape (n, 9), and P(nothing), shape (n,).

        Args:
            onset: whether it is known how the trouble began.
            trusted: whether the judged shares are taken as they are, not drawn towards equal.
        """
        log = self.log_like + (judged_prior() if trusted else default_log_prior())
        if onset:
            for sudden in (False, True):
                told = [mean_factor(ONSET, g.causes, sudden, {}) for g in GROUPS]
                factor = np.log(told)
                each = np.array([factor[list(h)].sum() for h in HYPOTHESES])
                log[self.sudden == sudden] += each
        p = np.exp(log - log.max(axis=1, keepdims=True))
        p /= p.sum(axis=1, keepdims=True)
        return p @ MEMBERS, p[:, 0]


def main() -> None:
    """Write RESULTS.md from every file of rows there is."""
    rows = {k: read(k) for k in ("unknown", "known", "single", "other", "learnt", "wrong")}
    like = joined(rows["known"].of(rows["known"].part == LAYOUTS[0]), rows["single"])
    table = {
        "type unknown": rows["unknown"],
        "type known, the one layout of the shared study": like,
        "type known, three layouts": rows["known"],
        "type unknown, other physics": rows["other"],
        "type learnt from one healthy truck": rows["learnt"],
    }
    lines = ["# Accuracy of the fuel posterior", "", (HERE / "ABOUT.md").read_text()]
    lines += ["", HEAD, "|-|-|-|-|-|-|-|-|-|-|"]
    for name, some in table.items():
        lines += [f"| {name} | {s} | {line(some.set(s))} |" for s in SETS if len(some)]
    lines += more_evidence(table)
    lines += ["", "Type known, layout by layout:", "", HEAD.replace("truth", "layout")]
    lines += ["|-|-|-|-|-|-|-|-|-|-|"]
    for layout in LAYOUTS:
        some = rows["known"].of(rows["known"].part == layout)
        lines += [f"| {layout.replace('_', ' ')} | {s} | {line(some.set(s))} |" for s in SETS]
    lines += shares_gone_wrong(rows) + most_possible(table)
    lines += relief_against_pump(rows["unknown"].read_cold())
    lines += by_loss(rows["unknown"]) + by_fault(rows["unknown"])
    (HERE / "RESULTS.md").write_text("\n".join(lines) + "\n")
    print("\n".join(in_short(table, rows)))


def in_short(table: dict[str, Rows], rows: dict[str, Rows]) -> list[str]:
    """Return the short table of the docs page."""
    both, mixed = joined(rows["unknown"], rows["wrong"]), mixture(rows["unknown"], rows["wrong"])
    kinds = [(name, some, None) for name, some in table.items()]
    kinds += [(f"shares of the truths {name}", both, prior_of(shares) / mixed)
              for name, shares in WRONG.items()]  # fmt: skip
    found = []
    for name, some, ratio in kinds:
        cells = [line(some.set(s), ratio).split(" | ") for s in SETS]
        top = " / ".join(f"{float(c[1].split()[0]):.3f}"[1:] for c in cells)
        right = " / ".join(f"{float(c[6].split()[2]):.2f}"[1:] for c in cells[1:])
        error = " / ".join(f"{float(c[5]):.3f}"[1:] for c in cells)
        found.append(f"| {name} | {cells[0][0]} | {top} | {right} | {error} |")
    return found


def read(name: str) -> Rows:
    """Read the rows of a population, every engine once; a last line may be half written."""
    last = f"h{len(HYPOTHESES) - 1}"
    once: dict[tuple[str, str], dict[str, str]] = {}
    for path in (HERE / "rows").glob(f"{name}*.csv*"):
        with gzip.open(path, "rt", newline="") if path.suffix == ".gz" else path.open() as file:
            once |= {
                (r["engine"], r["set"]): r for r in csv.DictReader(file) if r[last] is not None
            }
    found = sorted(once.values(), key=lambda r: int(r["engine"]))
    floor = -BLANK - 4.0
    return Rows(
        np.array([r["part"] for r in found]), np.array([int(r["engine"]) for r in found]),
        np.array([r["set"] for r in found]), np.array([int(r["truth"]) for r in found]),
        np.array([float(r["loss"]) for r in found]),
        np.array([r["sudden"] == "1" for r in found]),
        np.array([float(r["effective"]) for r in found]),
        np.array([[float(r[f"h{i}"] or floor) for i in range(len(HYPOTHESES))] for r in found]),
    )  # fmt: skip


def joined(*parts: Rows) -> Rows:
    """Return several populations as one; the engines keep apart."""
    step = 1_000_000
    for number, part in enumerate(parts):
        part.engine = part.engine % step + number * step
    return Rows(
        *(np.concatenate([getattr(p, name) for p in parts]) for name in Rows.__dataclass_fields__)
    )


def judged_prior() -> np.ndarray:
    """Return the log prior with the judged shares, as the truths are drawn."""
    return truths_of(JUDGED)


def prior_of(shares: list[float]) -> np.ndarray:
    """Return the chance of every truth under these shares; "something else" is none."""
    p = np.exp(truths_of(shares))[:-1]
    return np.append(p / p.sum(), 1.0)


def mixture(own: Rows, wrong: Rows) -> np.ndarray:
    """Return how often each truth was drawn on the whole, up to a factor.

    Engines are drawn until enough have a low reading. The share of those that have one under
    other fault shares, against the own, is the mean ratio of the two over the engines kept.
    """
    truth = own.set(TWO).truth
    mixed = len(truth) * prior_of(JUDGED)
    for name in COUNTS_WRONG:
        count = len(np.unique(wrong.engine[wrong.part == name]))
        low = float(np.mean((prior_of(WRONG[name]) / prior_of(JUDGED))[truth]))
        mixed = mixed + count / low * prior_of(WRONG[name])
    return mixed


def pm(value: float, count: float) -> str:
    """Return a share with its standard error."""
    return f"{value:.3f} ± {np.sqrt(max(value * (1 - value), 1e-9) / max(count, 1)):.3f}"


def line(
    some: Rows, ratio: np.ndarray | None = None, *, onset: bool = False, trusted: bool = False
) -> str:
    """Return the cells of a row of the table.

    Args:
        some: rows of one set of readings.
        ratio: weight of an engine by its truth; ``None``: all alike.
        onset: see ``Rows.judged``.
        trusted: see ``Rows.judged``.
    """
    p, healthy = some.judged(onset=onset, trusted=trusted)
    truth, y = some.truth, MEMBERS[some.truth]
    w = np.ones(len(some)) if ratio is None else ratio[truth]
    w = w / w.sum()
    n = 1 / np.square(w).sum()
    index = np.arange(len(some))
    order = np.argsort(-p[:, :8], axis=1)
    top1 = y[index, order[:, 0]]
    top2 = top1 | y[index, order[:, 1]]
    hit = np.column_stack([y, ~y.any(axis=1)])
    wide = hit[index, np.argmax(np.column_stack([p, healthy]), axis=1)]
    brier = ((p[:, :8] - y[:, :8]) ** 2).mean(axis=1)
    flat_p, flat_y = p[:, :8].ravel(), y[:, :8].ravel().astype(float)
    flat_w = np.repeat(w, 8) / 8
    bins = np.minimum((flat_p * 10).astype(int), 9)
    ece = sum(abs((flat_w * (flat_p - flat_y))[bins == b].sum()) for b in range(10))
    said = p[:, :8].max(axis=1) > 0.8
    share = float(w[said].sum())
    correct = float((w * top1)[said].sum() / share) if share > 0 else float("nan")
    n_said = 1 / np.square(w[said] / w[said].sum()).sum() if said.any() else 1
    return " | ".join([
        f"{n:.0f}", pm(float(w @ top1), n), pm(float(w @ top2), n), f"{w @ wide:.3f}",
        f"{w @ brier:.4f}", f"{ece:.4f}", f"{share:.2f} / {pm(correct, n_said)}",
        f"{np.median(some.effective):.0f}",
    ])  # fmt: skip


def more_evidence(table: dict[str, Rows]) -> list[str]:
    """Return the rows with the onset and the cold engine as evidence."""
    lines = ["", "More evidence: the onset, and the idle pressure before the engine is warm:", ""]
    lines += [HEAD, "|-|-|-|-|-|-|-|-|-|-|"]
    for name, every in table.items():
        cold = every.read_cold()
        for chosen, onset in MORE:
            some = (every if chosen == TWO else cold).set(chosen)
            if len(some) and (onset or len(cold)) and len(every.set(TWO)) > 1000:
                words = chosen + " + onset" * onset
                lines.append(f"| {name} | {words} | {line(some, onset=onset)} |")
    return lines


def shares_gone_wrong(rows: dict[str, Rows]) -> list[str]:
    """Return what becomes of it where the shares of the truths are others."""
    lines = [
        "", "Truths drawn from the judged and from wrong fault shares, type unknown (engines of "
        "the judged and of wrong shares together, re-weighted to each). Humble: the product, which "
        "draws the judged shares towards equal; trusted: the judged shares taken as they are.", "",
        f"| shares of the truths | readings | inference | effective engines | {MEASURES} | draws |",
        "|-|-|-|-|-|-|-|-|-|-|-|",
    ]  # fmt: skip
    own, wrong = rows["unknown"], rows["wrong"]
    both, mixed = joined(own, wrong), mixture(own, wrong)
    for name, shares in {"judged": JUDGED, **WRONG}.items():
        ratio = prior_of(shares) / mixed
        for s in SETS:
            for words, trusted in (("humble", False), ("trusted", True)):
                cells = line(both.set(s), ratio, trusted=trusted)
                lines.append(f"| {name} | {s} | {words} | {cells} |")
    return lines


def most_possible(table: dict[str, Rows]) -> list[str]:
    """Return what the best inference could reach, and what the two reach."""
    lines = [
        "", "The most any inference can reach, were the judged shares known to hold: what the "
        "right posterior says of the part it puts first, on average. Beside it top-1 of the "
        "inference that trusts them and of the product:", "",
        "| truth | readings | engines | possible | trusted | humble (the product) |",
        "|-|-|-|-|-|-|",
    ]  # fmt: skip
    for name, every in table.items():
        if "other" in name or "learnt" in name:
            continue
        for s in SETS:
            some = every.set(s)
            possible = some.judged(trusted=True)[0][:, :8].max(axis=1).mean()
            top1 = [line(some, trusted=t).split(" | ")[1] for t in (True, False)]
            lines.append(f"| {name} | {s} | {len(some)} | {possible:.3f} | {' | '.join(top1)} |")
    return lines


def relief_against_pump(some: Rows) -> list[str]:
    """Return how far relief valve and pump are told apart."""
    names = [f"{chosen}{' + onset' * onset}" for chosen, onset in MORE]
    lines = [
        "", "Relief valve and pump, single faults, type unknown: mean probability stated for "
        "the true one / for the other:", "",
        "| truth | engines | " + " | ".join(names) + " |", "|-|-" + "|-" * len(names) + "|",
    ]  # fmt: skip
    for name, own, other in (("relief valve", 0, 3), ("worn pump", 3, 0)):
        cells, count = [], 0
        for chosen, onset in MORE:
            here = some.set(chosen)
            here = here.of(here.truth == HYPOTHESES.index(frozenset({own})))
            p, _ = here.judged(onset=onset)
            count = len(here)
            cells.append(f"{p[:, own].mean():.2f} / {p[:, other].mean():.2f}")
        lines.append(f"| {name} | {count} | " + " | ".join(cells) + " |")
    return lines


def by_loss(rows: Rows) -> list[str]:
    """Return top-1 by the size of the loss."""
    lines = ["", "By the true loss of pressure (the larger of idle and 1,400 rpm, gauge faults "
             "left out), type unknown, top-1:", "", "| loss | engines | " + " | ".join(SETS) + " |",
             "|-|-|-|-|-|"]  # fmt: skip
    gauge = MEMBERS[rows.truth][:, 7]
    for low, high, words in SIZES:
        some = rows.of((rows.loss >= low) & (rows.loss < high) & ~gauge)
        cells = []
        for s in SETS:
            here = some.set(s)
            first = here.judged()[0][:, :8].argmax(axis=1)
            cells.append(pm(float(MEMBERS[here.truth][np.arange(len(here)), first].mean()),
                            len(here)))  # fmt: skip
        lines.append(f"| {words} | {len(some.set(TWO))} | " + " | ".join(cells) + " |")
    return lines


def by_fault(rows: Rows) -> list[str]:
    """Return what is said of each single fault where it is the truth."""
    lines = ["", "Mean probability stated for the true single fault, type unknown:", "",
             "| fault | engines | " + " | ".join(SETS) + " |", "|-|-|-|-|-|"]  # fmt: skip
    for g in range(8):
        some = rows.of(rows.truth == HYPOTHESES.index(frozenset({g})))
        cells = []
        for s in SETS:
            p = some.set(s).judged()[0][:, g]
            cells.append(f"{p.mean():.2f} ± {p.std() / np.sqrt(max(len(p), 1)):.2f}")
        lines.append(f"| {GROUPS[g].name} | {len(some.set(TWO))} | " + " | ".join(cells) + " |")
    return lines


if __name__ == "__main__":
    main()
