"""Answers that a person has read and approved: a change that moves one of them is seen in review.

Nothing here says that an answer is right; the tests of the rooms, the outside checks and the
studies do. What stands here is what the whole came to on many inputs, so that a small change in the
inside cannot pass unseen. After a change that is meant, make them anew and read the difference:

    WITNESSMARK_APPROVE=1 python -m pytest -q tests/approved
    git diff tests/files/approved
"""

from __future__ import annotations

import json
import math
import os
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from witnessmark.model.recording import Quality, Recording

FOLDER = Path(__file__).parents[1] / "files" / "approved"
DIGITS = 5
#: Below the last digit that is kept, and above what another processor may make of the same sums.
RELATIVE, ABSOLUTE = 2e-4, 1e-6
NUMBER = re.compile(r"-?\d+(?:[.,]\d+)*")


def same(
    room: str,
    answers: Mapping[str, Any],
    *,
    relative: float = RELATIVE,
    absolute: float = ABSOLUTE,
) -> None:
    """Compare answers by name with the approved ones of a room; or approve them, where asked.

    Numbers may differ by *relative* of the greater one, or by *absolute*.

    Raises:
        AssertionError: naming each answer that differs, and where in it.
    """
    path = FOLDER / f"{room}.jsonl"
    found = {name: bare(answer) for name, answer in answers.items()}
    if os.environ.get("WITNESSMARK_APPROVE"):
        lines = (json.dumps({"name": n, "answer": found[n]}, sort_keys=True) for n in found)
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return
    rows = map(json.loads, path.read_text(encoding="utf-8").splitlines())
    approved = {row["name"]: row["answer"] for row in rows}
    assert sorted(found) == sorted(approved)
    moved = [
        f"{name}{difference}"
        for name, answer in found.items()
        for difference in differences(
            approved[name], json.loads(json.dumps(answer)), (relative, absolute)
        )
    ]
    assert not moved, "\n".join([f"{len(moved)} answers moved", *moved[:20]])


def bare(value: Any) -> Any:
    """Return an answer without its sentences: of a sentence only its numbers stay."""
    if isinstance(value, Mapping):
        return {str(k): bare(v) for k, v in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [bare(v) for v in value]
    if isinstance(value, (bool, np.bool_)) or value is None:
        return None if value is None else bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        number = float(value)
        return float(f"{number:.{DIGITS}g}") if math.isfinite(number) else str(number)
    words = str(value)
    return " ".join(NUMBER.findall(words)) if " " in words else words


def differences(before: Any, after: Any, near: tuple[float, float], where: str = "") -> list[str]:
    """Return where two answers differ by more than *near* (relative, absolute), in words."""
    if isinstance(before, dict) and isinstance(after, dict) and before.keys() == after.keys():
        return [d for k in before for d in differences(before[k], after[k], near, f"{where}.{k}")]
    if isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        pairs = enumerate(zip(before, after, strict=True))
        return [d for n, (b, a) in pairs for d in differences(b, a, near, f"{where}[{n}]")]
    if _chances(before, after):
        keys = before.keys() | after.keys()
        pairs = {k: (_chance(before, k), _chance(after, k)) for k in sorted(keys)}
        return [d for k, (b, a) in pairs.items() for d in differences(b, a, near, f"{where}.{k}")]
    if _numbers(before, after):
        if math.isclose(before, after, rel_tol=near[0], abs_tol=near[1]):
            return []
    elif before == after:
        return []
    return [f"{where}: {before!r} is now {after!r}"]


def _chances(*values: Any) -> bool:
    return len({len(v) for v in values if isinstance(v, dict)}) == 1 and all(
        isinstance(v, dict) and _numbers(*v.values()) for v in values
    )


def _chance(chances: dict[str, float], key: str) -> float:
    """Return a chance: what a list that is cut leaves out is at most the least that it names."""
    return chances.get(key, min(chances.values(), default=0.0))


def _numbers(*values: Any) -> bool:
    return all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in values)


def told(recording: Recording) -> dict[str, Any]:
    """Return what a reader made of a file, in few numbers that every sample has a part in."""
    return {
        "read": [recording.kind, recording.format, recording.frames, recording.duration_s],
        "channels": [_channel(c) for c in recording.channels],
        "codes": [
            [c.spn, c.fmi, c.count, c.source, c.first_s, c.last_s, c.active, c.lamps, c.messages]
            for c in recording.trouble_codes
        ],
        "flags": [
            [f.channel, int(f.quality), f.start_s, f.end_s, f.source] for f in recording.flags
        ],
        "problems": [[NUMBER.findall(p.where), NUMBER.findall(p.what)] for p in recording.problems],
        "buses": [recording.sources, recording.buses, recording.apart],
        "facts": {k: v for k, v in recording.facts.items() if isinstance(v, (int, float, list))},
    }


def _channel(channel: Any) -> list[Any]:
    good = channel.values[channel.valid()]
    at = channel.time_s[channel.valid()]
    counts = [channel.count(q) for q in Quality]
    row = [channel.name, channel.unit, channel.spn, channel.source, channel.bus, counts]
    if not good.size:
        return row
    place = np.arange(1.0, good.size + 1.0)
    return [*row, good[0], good[-1], good.min(), good.max(), good.mean(),
            float(good @ place / place.sum()), at[0], at[-1],
            float(at @ place / place.sum()), channel.rate_hz]  # fmt: skip
