"""Which truck to look at first: what is worst on each, since when, whether it grows, what next."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

__all__ = ["Trouble", "TruckRow", "ranked"]

Row = Mapping[str, Any]
#: What weighs how much; judgement, no source. The first that fits counts.
_WEIGHTS = (
    ("red stop", 8.0),
    ("amber warning", 4.0),
    ("_circuit_faulted", 3.0),
    ("_out_of_band", 3.0),
    ("bus_error_frames", 1.5),
    ("log_damaged_lines", 0.3),
)
_OTHER, _DOUBTFUL = 2.0, 0.25


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that stands out on a truck.

    Attributes:
        code: of the finding, or ``SPN/FMI``.
        weight: how much it counts.
        sentence: its newest sentence.
        recordings: recordings that show it, of those that could.
        of: recordings of the truck that could be read.
        since: first recording with it, or empty where no file says its time.
        trend: new, growing, steady, fading or gone; empty with fewer than four recordings.
    """

    code: str
    weight: float
    sentence: str
    recordings: int
    of: int
    since: str
    trend: str


@dataclass(frozen=True, slots=True)
class TruckRow:
    """One truck.

    Attributes:
        name: digest of its identification or unit number, or the folder its recordings lie in.
        score: what is worst, and a little of the rest.
        troubles: the worst first.
        recordings: recordings that could be read.
        unread: recordings that could not.
        next: what to record or look at next, in words.
    """

    name: str
    score: float
    troubles: tuple[Trouble, ...]
    recordings: int
    unread: int
    next: str


def ranked(rows: Iterable[Row]) -> tuple[TruckRow, ...]:
    """Return the trucks, the one to look at first first.

    A truck is known by the digest of its identification where it was sent; its other recordings
    in the same folder count as its own where the folder holds one truck only. Otherwise the
    folder stands for it.
    """
    rows = list(rows)
    trucks_in: dict[str, set[str]] = defaultdict(set)
    for row in rows:
        if row["truck"]:
            trucks_in[_folder(row)].add(row["truck"])
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        known = trucks_in[_folder(row)]
        only = next(iter(known)) if len(known) == 1 else ""
        groups[row["truck"] or only or _folder(row)].append(row)
    found = [_truck(name, group) for name, group in groups.items()]
    return tuple(sorted(found, key=lambda t: (-t.score, t.name)))


def _folder(row: Row) -> str:
    return str(row["folder"]) or "."


def _truck(name: str, rows: Sequence[Row]) -> TruckRow:
    read = [r for r in rows if r["sha256"]]
    read.sort(key=lambda r: (r["began"] is None, r["began"] or 0.0, r["file"]))
    seen: dict[str, list[tuple[int, float, str]]] = defaultdict(list)
    for number, row in enumerate(read):
        for code, weight, sentence in _things(row):
            seen[code].append((number, weight, sentence))
    troubles = sorted(
        (_trouble(code, hits, read) for code, hits in seen.items()),
        key=lambda t: (-t.weight, -t.recordings, t.code),
    )
    score = sum(t.weight / 2**n for n, t in enumerate(troubles[:6]))
    return TruckRow(
        name, round(score, 3), tuple(troubles), len(read), len(rows) - len(read),
        _next(troubles, read, len(rows) - len(read)),
    )  # fmt: skip


def _things(row: Row) -> Iterable[tuple[str, float, str]]:
    for finding in row["findings"]:
        weight = next((w for part, w in _WEIGHTS if part in finding["code"]), _OTHER)
        if finding["outcome"] != "seen":
            weight *= _DOUBTFUL
        yield finding["code"], weight, finding["sentence"]
    for code in row["codes"]:
        if code["active"]:
            weight = max((w for part, w in _WEIGHTS if part in code["lamps"]), default=_OTHER)
            words = f"Active code {code['spn']}/{code['fmi']} from control unit {code['source']}"
            lamps = f" with the lamp {', '.join(code['lamps'])}" if code["lamps"] else ""
            yield f"{code['spn']}/{code['fmi']}", weight, f"{words}{lamps}."


def _trouble(code: str, hits: Sequence[tuple[int, float, str]], read: Sequence[Row]) -> Trouble:
    numbers = sorted({n for n, _, _ in hits})
    first = read[numbers[0]]["began"]
    since = "" if first is None else datetime.fromtimestamp(first, UTC).date().isoformat()
    return Trouble(
        code, max(w for _, w, _ in hits), hits[-1][2], len(numbers), len(read), since,
        _trend(numbers, len(read)),
    )  # fmt: skip


def _trend(numbers: Sequence[int], count: int) -> str:
    """Compare the earlier half of the recordings with the later half."""
    if count < 4:
        return ""
    half = count // 2
    early = sum(n < half for n in numbers) / half
    late = sum(n >= count - half for n in numbers) / half
    if not late:
        return "gone"
    if not early:
        return "new"
    if abs(late - early) < 0.25:
        return "steady"
    return "growing" if late > early else "fading"


def _next(troubles: Sequence[Trouble], read: Sequence[Row], unread: int) -> str:
    for trouble in troubles:
        _, mark, what = trouble.sentence.partition("Next: ")
        if mark and trouble.trend != "gone":
            return what[:1].upper() + what[1:]
    if any("/" in t.code and t.trend != "gone" for t in troubles):
        return "Read the codes with their counts, and record a drive with the engine warm."
    if not read:
        return f"None of {unread} recordings could be read: record again."
    if not troubles:
        return (
            "Nothing stands out in what was recorded; that is no proof of health. Record a warm "
            "idle, a pull and a coast-down where they are missing."
        )
    return "Look at the recording with it, and record the same again after a look at the wiring."
