"""The second hand's hundred tables, scored as tests/files/tables_b/README.md says."""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from readers.shifted_tables import names_place
from witnessmark.errors import WitnessmarkError
from witnessmark.model.recording import Channel, Recording
from witnessmark.readers import read_recording
from witnessmark.units import QUANTITIES, from_house

FOLDER = Path(__file__).parents[1] / "files" / "tables_b"
ROWS: list[dict[str, Any]] = [
    json.loads(line) for line in (FOLDER / "expected.jsonl").read_text("utf-8").splitlines()
]
WRONG, SILENT, NEEDLESS, RIGHT = "wrong", "silent loss", "needless", "right"


def score(row: dict[str, Any]) -> tuple[str, str]:
    """Return how a file was read, and why."""
    outcomes = row["accepted"]
    may_ask = any(o["outcome"] in {"ask", "refuse"} for o in outcomes)
    try:
        found = read_recording(FOLDER / row["file"])
    except WitnessmarkError as error:
        return (RIGHT if may_ask else NEEDLESS), str(error)
    words = " ".join(f"{p.where} {p.what} {p.do}" for p in found.problems)
    offered = [c for c in found.channels if c.name in QUANTITIES and c.valid().any()]
    if not offered:
        return (RIGHT if may_ask else NEEDLESS) if words else SILENT, words
    reasons = []
    for outcome in outcomes:
        if "channels" not in outcome:
            continue
        reason = disagreement(found, offered, outcome)
        if reason is None:
            return completeness(offered, outcome, words), words
        reasons.append(reason)
    if not reasons:
        reasons = ["nothing of it may be read"]
    return WRONG, "; ".join(reasons) + " / " + words


def disagreement(found: Recording, offered: list[Channel], outcome: dict[str, Any]) -> str | None:
    for channel in offered:
        said = outcome["channels"].get(channel.name)
        if said is None:
            return f"{channel.name} is not there"
        first, last, unit = said
        low, high, _ = outcome["range"][channel.name]
        values = channel.values[channel.valid()]
        mine = [from_house(channel.name, float(v), unit)
                for v in (values[0], values[-1], values.min(), values.max())]  # fmt: skip
        if not np.allclose(mine, [first, last, low, high], rtol=2e-4, atol=0.006):
            return f"{channel.name}: {mine} and not {[first, last, low, high]} {unit}"
    wanted = outcome.get("duration_s")
    stamped = found.duration_s is not None
    if outcome["outcome"] == "ask" and "time" in outcome["about"] and stamped and wanted is None:
        return f"a duration of {found.duration_s} s is sure"
    if wanted is not None and stamped and abs(found.duration_s - wanted) > 0.06:  # type: ignore[operator]
        return f"a duration of {found.duration_s} s and not {wanted}"
    return None


def completeness(offered: list[Channel], outcome: dict[str, Any], words: str) -> str:
    counts = {c.name: int(c.valid().sum()) for c in offered}
    whole = all(counts.get(name, 0) >= r[2] for name, r in outcome["range"].items())
    named = all(names_place(words, n, "") for n in outcome.get("named_lines", ()))
    return RIGHT if (whole and named) or words else SILENT


@lru_cache(maxsize=1)
def scores() -> dict[str, tuple[str, str]]:
    return {row["file"]: score(row) for row in ROWS}


@pytest.mark.parametrize("kind", [WRONG, SILENT])
def test_no_file_is_read_wrong_or_loses_in_silence(kind: str) -> None:
    bad = {name: why[:300] for name, (found, why) in scores().items() if found == kind}
    assert not bad, "\n".join(f"{n}: {w}" for n, w in bad.items())


def test_few_needless_questions() -> None:
    needless = [name for name, (found, _) in scores().items() if found == NEEDLESS]
    assert len(ROWS) == 100
    assert len(needless) <= 12, needless
