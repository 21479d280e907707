"""The invented shop: obviously invented, without a fault of form, the same every time."""

from __future__ import annotations

from importlib.resources import files as package_files

import pytest

from witnessmark.demo.demo_shop import build, open_stories, stories
from witnessmark.demo.machines.demo_recordings import GEARING
from witnessmark.demo.machines.named_recordings import recording
from witnessmark.demo.stories.story import Story, read_story
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.entries.entry_data import RecordingData, TruckData, WorkData
from witnessmark.workflow.case.check_ids import check_ids


def test_there_are_the_ten_trucks() -> None:
    assert [s.case_id for s in stories()] == [
        "gravel-31", "sawmill-14", "rescue-5", "movers-9", "gritter-6", "placeholder-19",
        "dairy-13", "mulch-16", "laundry-8", "orchard-27",
    ]  # fmt: skip


def test_two_cases_are_still_open() -> None:
    assert [s.case_id for s in open_stories()] == ["feed-22", "madeupton-4"]


@pytest.mark.parametrize("story", [*stories(), *open_stories()], ids=lambda s: s.case_id)
def test_entries_have_no_fault(story: Story) -> None:
    case = read_case(story.case_id, story.lines)
    assert not case.problems
    assert not case.damaged
    assert not check_ids(case, load_knowledge())
    times = [e.at for e in case.entries]
    assert times == sorted(times)


@pytest.mark.parametrize("story", [*stories(), *open_stories()], ids=lambda s: s.case_id)
def test_every_name_says_that_it_is_invented(story: Story) -> None:
    case = read_case(story.case_id, story.lines)
    [(_, truck)] = list(case.of(TruckData))
    assert "(invented)" in (truck.customer or "")
    approvals = [e.data.by for e in case.live() if e.kind == "approval"]  # type: ignore[union-attr]
    assert approvals
    assert all("(invented)" in by for by in approvals)


@pytest.mark.parametrize("story", stories(), ids=lambda s: s.case_id)
def test_work_is_what_was_wrong_and_no_torque_is_made_up(story: Story) -> None:
    case = read_case(story.case_id, story.lines)
    work = [data for _, data in case.of(WorkData)]
    assert tuple(data.cause for data in work) == story.truth
    two = {"sawmill-14", "rescue-5", "movers-9", "gritter-6"}
    assert len(story.truth) == (2 if story.case_id in two else 1)
    # a torque without its source is exactly one on purpose: the paper has to flag it
    unsourced = [t for data in work for t in data.torques if t.value and not t.source]
    assert len(unsourced) == (1 if story.case_id == "gravel-31" else 0)


def test_building_keeps_every_recording_and_can_be_repeated(tmp_path) -> None:
    shop = build(tmp_path / "shop")
    try:
        ids = [c.id for c in shop.list_cases()]
        assert set(ids) == {s.case_id for s in (*stories(), *open_stories())}
        for story in stories():
            assert shop.export(story.case_id) == "".join(f"{line}\n" for line in story.lines)
            for entry, data in shop.case(story.case_id).of(RecordingData):
                kept = shop.recording_path(story.case_id, entry).read_bytes()
                assert kept == story.files[data.path]
    finally:
        shop.close()
    again = build(tmp_path / "shop")
    try:
        assert [c.id for c in again.list_cases()] == ids
    finally:
        again.close()


def test_every_file_of_a_story_is_told() -> None:
    folder = package_files("witnessmark.demo.stories")
    written = {p.name.removesuffix(".jsonl") for p in folder.iterdir() if p.name.endswith(".jsonl")}
    assert written == {s.case_id for s in (*stories(), *open_stories())}
    for story in (*stories(), *open_stories()):
        assert read_story(story.case_id) == story


def test_a_recording_that_no_machine_makes_is_refused() -> None:
    with pytest.raises(KeyError):
        recording("nobody.candump.log.gz")


def test_gears_written_in_a_story_are_those_its_recordings_are_made_with() -> None:
    geared = 0
    for story in stories():
        [(_, truck)] = list(read_case(story.case_id, story.lines).of(TruckData))
        if not truck.gears:
            continue
        geared += 1
        assert dict(truck.gears) == dict(GEARING.gears)
        assert (truck.axle_ratio, truck.tyre_rev_per_mile) == (
            GEARING.axle_ratio,
            GEARING.tyre_rev_per_mile,
        )
    assert geared >= 3
