"""Many shops' files into one pool, by shrinkage; no single file weighs much.

On every line (:mod:`.cells`) the pooled shares are the packs' shares, as so many cases
(:data:`~.sums.JUDGED`), and the sum of the shops' blurred counts, none of which may be longer (sum
of absolute counts) than a cap. The cap is the largest for which a file, were it all lies, could not
move a share by more than the stated bound: leaving a vector of length B out of a sum that stays at
least T moves no share by more than 2 B / T. Half the bound is kept back for what the cap itself
moves.

How much shops differ (the correlation of two cases of one shop) is told by the moments of a
Dirichlet-multinomial, the blur's own variance taken off (after Weir and Hill 2002, as used for
overdispersed counts). Its inverse is the number of own cases at which a shop's own shares weigh
as much as the pool's.

Files are read once, a shop at a time, in as many processes as there are processors; what is kept
of a shop is a few hundred bytes, so that memory does not grow with the files.
"""

from __future__ import annotations

import gc
import hashlib
import multiprocessing
import os
import re
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt

from witnessmark.errors import InputRefused
from witnessmark.model.pool import Pool, PooledShares
from witnessmark.pooling.blurring import variance
from witnessmark.pooling.cells import POOLED, Cells, Judged, Reader
from witnessmark.pooling.experience_file import Experience, read_experience
from witnessmark.pooling.into_pool import pool_of_shares
from witnessmark.pooling.sums import BOUND, JUDGED, Sums, shared

__all__ = ["BOUND", "JUDGED", "LeftOut", "Merged", "merge", "pooled"]

Floats = npt.NDArray[np.float64]
#: Files that one process reads before it says what they came to.
_AT_ONCE = 250
#: Fewer files are read in this process.
_WORTH_PROCESSES = 400
#: Shops as they claim to be, each with its files.
_Chunk = list[tuple[bytes, list[Path]]]
_SHOP = re.compile(rb'"shop":"([0-9a-fA-F]{64})"')


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
    paths: Iterable[Path], judged: Judged, *, bound: float = BOUND, processes: int | None = None
) -> Merged:
    """Merge files; a bad or a doubled one is left out and named.

    A shop's files of several quarters are added up before they are capped: it has one voice. Of
    two files of one shop and quarter the first counts; the same counts under two names are one
    file copied, and neither counts.

    Args:
        paths: the files.
        judged: the packs' word.
        bound: what one shop may move a share by.
        processes: at most; as many as there are processors when not given.
    """
    files = list(paths)
    chunks = _chunks(files)
    count = 1 if len(files) < _WORTH_PROCESSES else processes or os.cpu_count() or 1
    sums = Sums(Cells(judged), bound)
    left: dict[Path, str] = {}
    voices: dict[str, list[_Told]] = {}
    for part in _worked(chunks, judged, bound, count):
        sums.plus(part.sums)
        left |= part.left
        for shop, told in part.voices.items():
            voices.setdefault(shop, []).extend(told)
    copied = _copies(voices)
    reader = Reader(sums.cells)
    for shop in {one.shop for one in copied}:
        _voice(sums, voices[shop], reader, -1.0)
        voices[shop] = [one for one in voices[shop] if one not in copied]
        _voice(sums, voices[shop], reader, 1.0)
    left |= {one.path: "another shop gave the very same counts" for one in copied}
    counted = [one for told in voices.values() for one in told]
    return Merged(
        pool_of_shares(sums.cells, shared(sums), max((one.quarter for one in counted), default="")),
        len(counted),
        sum(1 for told in voices.values() if told),
        tuple(LeftOut(path.name, left[path]) for path in files if path in left),
        max((one.epsilon for one in counted), default=Fraction(0)),
    )


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
    sums = Sums(_one_line(tuple(prior.items())), bound)
    sums.add(counts, noise[:, None])
    found = shared(sums)
    shares = dict(zip(prior, found.share.tolist(), strict=True))
    return PooledShares(shares, float(found.weight[0]), found.shops)


def _one_line(prior: tuple[tuple[str, float], ...]) -> Cells:
    """Return the cells of one family's closings and nothing else."""
    cells = Cells(Judged({"": dict(prior)}))
    cells.lines, many = cells.lines[:1], len(prior)
    cells.size, cells.start, cells.group = cells.size[:1], cells.start[:1], cells.group[:1]
    cells.line_of, cells.said, cells.table = (
        cells.line_of[:many], cells.said[:many], cells.table[:1],
    )  # fmt: skip
    return cells


@dataclass(frozen=True, slots=True)
class _Told:
    """What is kept of a file that was read."""

    path: Path
    shop: str
    quarter: str
    epsilon: Fraction
    print: bytes


@dataclass
class _Part:
    """What one process has read."""

    sums: Sums
    left: dict[Path, str] = field(default_factory=dict)
    voices: dict[str, list[_Told]] = field(default_factory=dict)


def _chunks(files: Sequence[Path]) -> list[_Chunk]:
    """Return the files by the shop that they claim to be of, so many shops at once."""
    by_shop: dict[bytes, list[Path]] = {}
    for path in files:
        by_shop.setdefault(_claimed(path), []).append(path)
    found: list[_Chunk] = [[]]
    many = 0
    for shop, group in by_shop.items():
        if many + len(group) > _AT_ONCE and found[-1]:
            found.append([])
            many = 0
        found[-1].append((shop, group))
        many += len(group)
    return found


def _claimed(path: Path) -> bytes:
    """Return the shop that a file names, nothing checked; its own path where it names none."""
    try:
        with path.open("rb") as file:
            size = os.fstat(file.fileno()).st_size
            file.seek(max(0, size - 2**16))
            found = _SHOP.search(file.read(2**16))
            if found is None and size > 2**16:
                file.seek(0)
                found = _SHOP.search(file.read(2**24))
    except OSError:
        found = None
    return found.group(1).lower() if found is not None else str(path).encode()


def _worked(chunks: Sequence[_Chunk], judged: Judged, bound: float, count: int) -> Iterator[_Part]:
    """Yield what each chunk came to, in their order, a few ahead at the most."""
    if count <= 1 or len(chunks) == 1:
        for chunk in chunks:
            yield _read_chunk(chunk, judged, bound)
        return
    context = multiprocessing.get_context("spawn")
    waiting: deque[Future[_Part]] = deque()
    with ProcessPoolExecutor(count, context, _begin, (judged,)) as workers:
        for chunk in chunks:
            waiting.append(workers.submit(_read_in_process, chunk, bound))
            if len(waiting) > 2 * count:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


_JUDGED: list[Judged] = []


def _begin(judged: Judged) -> None:
    gc.disable()  # thousands of lists a file, and no rings among them
    _JUDGED[:] = [judged]


def _read_in_process(chunk: _Chunk, bound: float) -> _Part:
    return _read_chunk(chunk, _JUDGED[0], bound)


def _read_chunk(chunk: _Chunk, judged: Judged, bound: float) -> _Part:
    part = _Part(Sums(Cells(judged), bound))
    reader = Reader(part.sums.cells)
    for claimed, group in chunk:
        voice = _Voice(part.sums.cells)
        for path in group:
            try:
                found = read_experience(path)
                vector = reader.vector(found)
            except InputRefused as error:
                part.left[path] = error.what
                continue
            except (ValueError, TypeError, OverflowError):
                part.left[path] = "The file lacks what such a file holds."
                continue
            if found.shop.encode() != claimed:
                part.left[path] = "it names more than one shop"
                continue
            told = part.voices.setdefault(found.shop, [])
            if any(one.quarter == found.quarter for one in told):
                part.left[path] = "this shop's file of this quarter is there already"
                continue
            print_of = hashlib.blake2b(vector.tobytes(), digest_size=16).digest()
            told.append(_Told(path, found.shop, found.quarter, found.epsilon, print_of))
            voice.add(vector, found)
        if claimed.decode(errors="replace") in part.voices:
            part.sums.add(voice.counts[None], voice.noise[None])
    return part


class _Voice:
    """What one shop says, over its quarters."""

    def __init__(self, cells: Cells) -> None:
        self.counts = np.zeros(len(cells.said))
        self.noise = np.zeros(len(cells.size))
        self._table = cells.table

    def add(self, vector: npt.NDArray[np.int64], found: Experience) -> None:
        self.counts += vector
        self.noise += np.asarray([variance(found.scale(name)) for name in POOLED])[self._table]


def _voice(sums: Sums, told: Sequence[_Told], reader: Reader, sign: float) -> None:
    """Read a shop's files again and add its voice, or take it out."""
    voice = _Voice(sums.cells)
    for one in told:
        found = read_experience(one.path)
        voice.add(reader.vector(found), found)
    if told:
        sums.add(voice.counts[None], voice.noise[None], sign)


def _copies(voices: Mapping[str, Sequence[_Told]]) -> list[_Told]:
    """Return the files whose very counts another shop gave too."""
    prints: dict[bytes, list[_Told]] = {}
    for told in voices.values():
        for one in told:
            prints.setdefault(one.print, []).append(one)
    return [
        one for same in prints.values() if len({o.shop for o in same}) > 1 for one in same
    ]  # fmt: skip
