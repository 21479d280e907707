"""Many shops' files into one set of shares, by shrinkage; no single file weighs much.

A family's pooled shares are the packs' shares, as so many cases (:data:`JUDGED`), and the sum of
the shops' blurred counts, none of which may be longer (sum of absolute counts) than a cap. The cap
is the largest for which a file, were it all lies, could not move a share by more than the stated
bound: leaving a vector of length B out of a sum that stays at least T moves no share by more than
2 B / T. Half the bound is kept back for what the cap itself moves.

How much shops differ (the correlation of two cases of one shop) is told by the moments of a
Dirichlet-multinomial, the blur's own variance taken off (after Weir and Hill 2002, as used for
overdispersed counts). Its inverse is the number of own cases at which a shop's own shares weigh
as much as the pool's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt

from witnessmark.errors import InputRefused
from witnessmark.model.pool import Pool, PooledShares
from witnessmark.pooling.blurring import variance
from witnessmark.pooling.experience_file import Experience, read_experience

__all__ = ["BOUND", "JUDGED", "LeftOut", "Merged", "merge", "pooled"]

Floats = npt.NDArray[np.float64]
#: No file moves a share by more.
BOUND = 0.02
#: Cases that the packs' shares count for (judgement, as in a shop's own history).
JUDGED = 20.0
#: The pool weighs at least and at most so many own cases.
_WEIGHT = (20.0, 400.0)
#: Fewer shops say nothing of how shops differ.
_FEW = 8


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A file that does not count, and why."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class Merged:
    """The outcome of a merge.

    Attributes:
        pool: the shares.
        files: files that count.
        shops: shops they come from.
        left_out: the others.
        epsilon: the dearest budget among the files that count.
    """

    pool: Pool
    files: int
    shops: int
    left_out: tuple[LeftOut, ...]
    epsilon: Fraction = Fraction(0)


def merge(
    paths: Iterable[Path], priors: Mapping[str, Mapping[str, float]], *, bound: float = BOUND
) -> Merged:
    """Merge files, one at a time; a bad or a doubled one is left out and named.

    A shop's files of several quarters are added up before they are capped: it has one voice. Of
    two files of one shop and quarter the first counts; the same counts under two names are one
    file copied, and neither counts.

    Args:
        paths: the files.
        priors: family -> cause -> the packs' share.
        bound: what one shop may move a share by.
    """
    left: list[LeftOut] = []
    sums: dict[str, _Voice] = {}
    seen: dict[tuple[str, str], str] = {}
    prints: dict[int, list[tuple[str, str]]] = {}
    count, dearest = 0, Fraction(0)
    for path, found in _read(paths, left):
        key = (found.shop, found.quarter)
        if key in seen:
            left.append(LeftOut(path.name, "this shop's file of this quarter is there already"))
            continue
        seen[key] = path.name
        vector = _vector(found, priors)
        prints.setdefault(hash(vector.tobytes()), []).append(key)
        sums.setdefault(found.shop, _Voice(priors)).add(found.quarter, vector, found.scale())
        count, dearest = count + 1, max(dearest, found.epsilon)
    for same in prints.values():
        if len({shop for shop, _ in same}) > 1:
            for shop, quarter in same:
                left.append(LeftOut(seen[shop, quarter], "another shop gave the very same counts"))
                sums[shop].take_out(quarter)
                count -= 1
    voices = [v for v in sums.values() if v.quarters]
    newest = max((q for v in voices for q in v.quarters), default="")
    families = {}
    at = 0
    for family, causes in priors.items():
        here = slice(at, at + len(causes))
        at += len(causes)
        counts = np.asarray([v.total()[here] for v in voices]).reshape(len(voices), len(causes))
        noise = np.asarray([v.noise for v in voices])
        families[family] = pooled(counts, noise, causes, bound=bound)
    return Merged(Pool(families, newest), count, len(voices), tuple(left), dearest)


def pooled(
    counts: Floats, noise: Floats, prior: Mapping[str, float], *, bound: float = BOUND
) -> PooledShares:
    """Return the pooled shares of one family.

    Args:
        counts: shape (shops, causes), blurred, so that some are below nought.
        noise: shape (shops,), variance of the blur of each count.
        prior: cause -> the packs' share, in the order of the counts.
        bound: what one row may move a share by.
    """
    judged = np.asarray(list(prior.values()))
    judged = JUDGED * judged / judged.sum()
    length = np.abs(counts).sum(axis=1)
    cap = _cap(counts, length, judged, bound)
    factor = np.minimum(1.0, cap / np.maximum(length, 1e-12))
    capped = counts * factor[:, None]
    summed = capped.sum(axis=0)
    blur = noise * factor**2
    # The sum of so many blurs scatters like a smaller number of sharp cases: the packs' shares
    # weigh the more against it.
    cases = max(float(summed.sum()), 1.0)
    apart = max(1.0 - float((judged**2).sum()) / JUDGED**2, 0.1)
    dearer = 1.0 + counts.shape[1] * float(blur.sum()) / (cases * apart)
    total = dearer * judged + np.maximum(summed, 0.0)
    share = total / total.sum()
    alike = _weight(capped, blur, share)
    weight = 1.0 / (1.0 / alike + 1.0 / (cases / dearer + JUDGED))
    weight = max(weight, _WEIGHT[0])
    return PooledShares(dict(zip(prior, share.tolist(), strict=True)), weight, len(counts))


def _cap(counts: Floats, length: Floats, judged: Floats, bound: float) -> float:
    """Return the largest length of a file for which half the bound holds; lengths double."""
    if not length.size:
        return 0.0
    best = 0.125 * bound * JUDGED
    cap = best
    while cap < 2.0 * float(length.max()):
        cap *= 2.0
        factor = np.minimum(1.0, cap / np.maximum(length, 1e-12))
        total = float((judged + np.maximum((counts * factor[:, None]).sum(axis=0), 0.0)).sum())
        if 4.0 * cap > bound * (total - cap):
            break
        best = cap
    return best


def _weight(counts: Floats, noise: Floats, share: Floats) -> float:
    """Return own cases at which a shop counts as much as the pool: 1 / correlation - 1."""
    if len(counts) < _FEW:
        return _WEIGHT[0]
    size = counts.sum(axis=1)
    alike = float((share**2).sum())
    causes = counts.shape[1]
    apart = ((counts - size[:, None] * share) ** 2).sum(axis=1)
    apart = apart - noise * (causes - 2.0 + causes * alike)
    pairs = float((size**2 - causes * noise - size).sum()) * (1.0 - alike)
    more = float(apart.sum() - size.sum() * (1.0 - alike))
    if pairs <= 0.0:
        return _WEIGHT[0]
    correlation = more / pairs
    if correlation <= 1.0 / (_WEIGHT[1] + 1.0):
        return _WEIGHT[1]
    return float(np.clip(1.0 / correlation - 1.0, *_WEIGHT))


class _Voice:
    """What one shop says, over its quarters; some 5 kB."""

    def __init__(self, priors: Mapping[str, Sequence[str] | Mapping[str, float]]) -> None:
        self.quarters: dict[str, tuple[npt.NDArray[np.int32], float]] = {}
        self._cells = sum(len(c) for c in priors.values())

    def add(self, quarter: str, vector: npt.NDArray[np.int32], scale: float) -> None:
        self.quarters[quarter] = (vector, variance(scale))

    def take_out(self, quarter: str) -> None:
        self.quarters.pop(quarter, None)

    def total(self) -> Floats:
        whole = np.zeros(self._cells)
        for vector, _ in self.quarters.values():
            whole += vector
        return whole

    @property
    def noise(self) -> float:
        return sum(noise for _, noise in self.quarters.values())


def _read(paths: Iterable[Path], left: list[LeftOut]) -> Iterator[tuple[Path, Experience]]:
    for path in paths:
        try:
            yield path, read_experience(path)
        except InputRefused as error:
            left.append(LeftOut(path.name, error.what))


def _vector(found: Experience, priors: Mapping[str, Mapping[str, float]]) -> npt.NDArray[np.int32]:
    """Return the closings in the order of *priors*; a cause that is not listed is nought."""
    whole = []
    for family, causes in priors.items():
        row = found.closings.get(family)
        place = {c: k for k, c in enumerate(found.causes.get(family, ()))}
        whole += [0 if row is None or c not in place else int(row[place[c]]) for c in causes]
    return np.asarray(whole, np.int32)
