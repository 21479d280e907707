"""``witnessmark assess`` on what people bring: answers, refusals, nothing lost."""

from __future__ import annotations

import gzip
import json
from pathlib import Path

import pytest

from conftest import Run

NOTE = '{"kind":"note","id":"e1","at":"2026-03-02T08:00:00Z","data":{"words":"x"}}'


@pytest.mark.parametrize(
    ("content", "code", "sentence"),
    [
        (None, 2, "no such case file"),
        (b"", 3, "no entry"),
        (b"{broken\n[]\n", 3, "no entry"),
        (b"\x00\x01\x02" * 50, 2, "not text"),
        (gzip.compress(b"x" * 1000, mtime=0), 2, "not text"),
        (b"\xff\xfe\xfd\n", 3, "no entry"),
    ],
)
def test_unusable_files(
    witnessmark: Run, tmp_path: Path, content: bytes | None, code: int, sentence: str
) -> None:
    path = tmp_path / "c.jsonl"
    if content is not None:
        path.write_bytes(content)
    found = witnessmark("assess", path, "--json")
    assert found.returncode == code, found.stderr
    assert sentence in found.stderr
    assert "Traceback" not in found.stderr


def test_a_case_without_complaint_is_an_answer(witnessmark: Run, tmp_path: Path) -> None:
    path = tmp_path / "c.jsonl"
    path.write_text(NOTE + "\n")
    found = json.loads(witnessmark("assess", path, "--json").stdout)
    assert found["case"] == {"id": "c", "entries": 1, "stage": 0, "retracted": []}
    assert found["odds"] == found["next"] == found["proof"] == []


def test_names_nobody_knows_are_problems(witnessmark: Run, tmp_path: Path) -> None:
    path = tmp_path / "c.jsonl"
    rows = [
        ("complaint", {"words": "x", "families": ["fuel_lo"]}),
        ("clue", {"clue": "orig_paint", "seen": True}),
        ("clue", {"clue": "filters_recnt", "seen": True}),
        ("test", {"test": "f_sight", "result": "greenish"}),
        ("test", {"test": "f_sigth", "result": "negative"}),
        ("work", {"cause": "pump_reliev", "did": "renewed"}),
        ("outcome", {"complaint": "e9", "gone": True}),
        ("recording", {"path": "gone.log"}),
    ]
    path.write_text("\n".join(
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ))  # fmt: skip
    problems = json.loads(witnessmark("assess", path, "--json").stdout)["problems"]
    said = {p["where"]: f"{p['what']} {p['do']}" for p in problems}
    assert set(said) == {f"e{n}" for n in range(len(rows))}
    assert "fuel_low" in said["e0"]
    assert "names none" in said["e1"]
    assert "filters_recent" in said["e2"]
    assert "f_sight" in said["e4"]
    assert "pump_relief" in said["e5"]


def test_text_and_json_say_the_same(witnessmark: Run, tmp_path: Path) -> None:
    """The text and the JSON are two faces of one assessment."""
    path = tmp_path / "c.jsonl"
    rows = [
        ("complaint", {"words": "temp jumps about", "families": ["cool_unstable"]}),
        ("clue", {"clue": "multi_sensor", "seen": True}),
        ("test", {"test": "c_multi", "result": "positive"}),
    ]
    path.write_text("\n".join(
        json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": d})
        for n, (k, d) in enumerate(rows)
    ))  # fmt: skip
    document = json.loads(witnessmark("assess", path, "--json").stdout)
    text = witnessmark("assess", path).stdout
    leader = document["odds"][0]["causes"][0]
    assert leader["cause"] == "ct_shared"
    assert leader["name"] in text
    assert document["next"][0]["name"].split()[0] in text
    assert leader["strength"].capitalize() in text
    deeper = witnessmark("assess", path, "--numbers").stdout
    assert document["next"][0]["step"] in deeper
    for word in ("%", "odds", "bit", "c_multi", "expected total"):
        assert word not in text
    total = sum(c["probability"] for c in document["odds"][0]["causes"])
    assert total >= 0.9  # causes may be present together, so they need not sum to one
