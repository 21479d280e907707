"""What is read off a case, a line or a file is read off once: counted, not timed."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from witnessmark.analyses.an_analysis import Bench
from witnessmark.casebook import files
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries import entry as entries
from witnessmark.model.entries.case import Case
from witnessmark.readers.files import source
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.case.uploads import begin, finish, take_piece
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.recordings.case_recordings import COLUMNS_FILE, recordings_of_shop
from witnessmark.workflow.recordings.look_into import file_settings
from witnessmark.workflow.recordings.traces import recording_of
from workflow.closed_cases import fuel_case


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    made = open_shop(tmp_path / "shop", create=True)
    yield made
    made.close()


def counted(monkeypatch: pytest.MonkeyPatch, place: object, name: str) -> list[Any]:
    """Let calls of a function through and note what it was called with."""
    calls: list[Any] = []
    real: Callable[..., Any] = getattr(place, name)

    def noted(*arguments: Any, **named: Any) -> Any:
        calls.append(arguments)
        return real(*arguments, **named)

    monkeypatch.setattr(place, name, noted)
    return calls


def test_a_fifth_entry_costs_one_parse(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    shop.new_case("one", fuel_case()[:4])
    shop.case("one")
    parsed = counted(monkeypatch, entries, "_parse")
    made = shop.add("one", "note", {"words": "the fifth line"})
    assert [e.id for e in shop.case("one").entries][-1] == made.id
    assert len(shop.case("one").entries) == 5
    assert len(parsed) == 1


def test_a_damaged_line_says_where_it_stands_each_time() -> None:
    for where in ("a line 1", "b line 2"):
        with pytest.raises(entries.EntryRefused) as refused:
            entries.parse_entry('{"kind": "note"}', where=where)
        assert refused.value.where == where
    line = '{"kind":"note","id":"n","at":"2026-03-02T08:00:00Z","data":{"words":"w","more":1}}'
    assert [entries.parse_entry(line, where=w)[1][0].where for w in ("x", "y")] == ["x", "y"]


def test_what_counts_in_a_case_is_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    from witnessmark.model.entries.case import read_case

    case = read_case("one", fuel_case())
    for name in ("_live", "_stages", "_retracted", "_by_kind"):
        wrapped = Case.__dict__[name]
        calls = counted(monkeypatch, wrapped, "func")
        wrapped.calls = calls
    assess(case, {})
    for name in ("_live", "_stages", "_retracted", "_by_kind"):
        asked = [of for (of,) in Case.__dict__[name].calls]
        assert sum(of is case for of in asked) == 1, name
        # and of the case as it stood before its one work
        assert len(asked) == 1 + case.works(), name


def test_the_readings_of_a_bench_are_made_once() -> None:
    from witnessmark.model.entries.case import read_case

    case = read_case("one", fuel_case())
    bench = Bench(case, {}, load_knowledge(), case.stages())
    first = list(bench.readings("fuel_gallery_pressure"))
    assert first
    assert all(a is b for a, b in zip(first, bench.readings(), strict=False))
    both = list(bench.readings("fuel_return_flow", "fuel_gallery_pressure"))
    assert both == [r for r in bench.readings() if r.data.quantity.startswith("fuel_")]


def _log(path: Path) -> Path:
    frames = (
        f"({100 + n * 0.02:.6f}) can0 0CF00400#FF7D7D{n % 250:02X}2EFFFF7D\n" for n in range(500)
    )
    path.write_text("".join(frames))
    return path


def test_a_file_is_hashed_once_an_upload(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Arriving, stored, looked at, assessed twice: hashed once, while it is copied."""
    content = _log(tmp_path / "drive.log").read_bytes()
    sha256 = hashlib.sha256(content).hexdigest()
    shop.new_case("one", fuel_case()[:2])
    whole = counted(monkeypatch, hashlib, "file_digest")
    by_readers = counted(monkeypatch, source, "_digest")
    started = hashlib.sha256
    copied: list[object] = []

    def hasher(*given: Any) -> Any:
        copied.append(given)
        return started(*given)

    monkeypatch.setattr(files.hashlib, "sha256", hasher)
    upload = begin(shop, "one", "drive.log", len(content))
    take_piece(shop, upload.id, 0, content)
    _, stored = finish(shop, upload.id, sha256)
    assert stored == sha256
    assert len([c for c in copied if c == ()]) == 1
    made = shop.add("one", "recording", {"path": "drive.log", "sha256": stored, "holds": "bus"})
    for _ in range(2):
        found, problems = recordings_of_shop(shop, shop.case("one"))
        assert (list(found), problems) == ([made.id], [])
    assert recording_of(shop, "one", made.id).sha256 == sha256
    assert (whole, by_readers) == ([], [])


def test_a_file_that_was_changed_is_hashed_again(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"one")
    os.utime(path, (1e9, 1e9))
    first = files.digest(path)
    path.write_bytes(b"two")
    assert files.digest(path) != first
    path.write_bytes(b"six")  # the same moment as far as the disk can tell
    assert files.digest(path) == hashlib.sha256(b"six").hexdigest()


def test_a_file_that_arrives_changed_is_not_kept(shop: Shop) -> None:
    from witnessmark.errors import Conflict

    shop.new_case("one", fuel_case()[:2])
    upload = begin(shop, "one", "drive.log", 3)
    take_piece(shop, upload.id, 0, b"abc")
    with pytest.raises(Conflict):
        finish(shop, upload.id, "0" * 64)
    assert list((shop.folder / "recordings").iterdir()) == []
    assert list((shop.folder / "uploads").iterdir()) == []


def test_a_table_with_remembered_names_is_decoded_once(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from witnessmark.workflow.recordings import case_recordings

    table = tmp_path / "gps.csv"
    rows = "".join(f"{n * 0.1:.1f},{n % 9},{700 + n}\n" for n in range(60))
    table.write_text("time,speed,RPM\n" + rows)
    shop.new_case("one", fuel_case()[:2])
    data = {"path": "gps.csv", "sha256": shop.store_file(table, "gps.csv"), "holds": "table"}
    made = shop.add("one", "recording", data)
    decoded = counted(monkeypatch, case_recordings, "read_recording")

    def speed() -> bool:
        found, _ = recordings_of_shop(shop, shop.case("one"))
        return found[made.id].channel("road_speed") is not None

    book = shop.folder / COLUMNS_FILE
    assert [speed(), speed(), len(decoded)] == [False, False, 1]
    file_settings([table], columns=["speed=road_speed [mph]"], remember=book)
    assert [speed(), speed(), speed(), len(decoded)] == [True, True, True, 2]
    file_settings([table], columns=["speed=ignore"], remember=book)
    assert [speed(), speed(), len(decoded)] == [False, False, 3]


def test_evidence_is_collected_once_a_stage_and_knowledge_read_once(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Page, report and estimate of a case with one work: two stages, two collections."""
    from witnessmark.inference.odds import case_odds
    from witnessmark.knowledge import kept_packs, loader
    from witnessmark.workflow.dossier.dossier_of_shop import KEPT, assess_in_shop
    from witnessmark.workflow.papers.case_papers import report_html

    lines = [
        entry_line("truck", {"label": "unit 9"}),
        entry_line("complaint", {"words": "runs hot", "families": ["overheat"]}),
        entry_line("work", {"did": "fan clutch renewed"}),
    ]
    shop.new_case("one", lines)
    monkeypatch.setenv("WITNESSMARK_CACHE", "")  # nothing kept from another run
    kept_packs._load.cache_clear()
    KEPT.clear()
    collected = counted(monkeypatch, case_odds, "family_evidence")
    parsed = counted(monkeypatch, loader, "read_pack")
    assess_in_shop(shop, "one")
    for quote in (False, True):
        report_html(shop, "one", quote=quote)
    assert len(collected) == 2
    assert len(parsed) == len(loader.shipped_packs())
    assert [c.case for c in KEPT.computed] == ["one"]
