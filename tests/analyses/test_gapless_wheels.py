"""Wheels without gaps, with teeth that did not come, counted by a second pickup."""

import numpy as np
import pytest

from analyses.crank_material import sweep_edges
from analyses.vibration_material import bench, channel, recording
from witnessmark.analyses.vibration import torsional
from witnessmark.analyses.vibration.cylinders import said, shown_words
from witnessmark.physics.vibration.twist.cylinder_balance import Balance
from witnessmark.physics.vibration.twist.tooth_edges import find_marks, marks_by_turns

PULL = {"point": {"warm": True, "load": "full"}, "place": "flywheel"}


def made(places=118, share=0.0, weak=(4, 0.4), second="cam", seed=3):
    edges, cam = sweep_edges(
        278.0, at="flywheel", low=1200, high=1210, seconds=10, weak=weak, dead_centre=1.2,
        cam=True, places=places, missing=(),
    )  # fmt: skip
    if second == "turn":
        # Half a radian before the wheel's zero, once a turn: a tooth's own angle.
        marks = marks_by_turns(edges, cam, places=places, cam=True)[0]
        first = np.interp(cam[0], marks.time, marks.place)
        wanted = first + places * np.arange(0, int((marks.place[-1] - first) / places))
        cam = np.interp(wanted, marks.place, marks.time)
    keep = np.random.default_rng(seed).random(len(edges)) >= share
    return edges[keep], cam


def cylinders(edges, second, extra, name="cam"):
    rows = [
        channel("crank", edges, np.ones(len(edges))),
        channel(name, second, np.ones(len(second))),
    ]
    made_of = recording("s.csv", rows, "tooth_timing")
    found = torsional.analyse(bench([("s", 0, made_of)], extra={"s": PULL | extra}))
    return [f for f in found if f.code == "cylinder_balance"]


@pytest.mark.parametrize("places", [116, 118, 127, 138])
@pytest.mark.parametrize("told", [False, True])
def test_a_gapless_flywheel_with_a_camshaft_mark_is_balanced(places, told):
    """Before: not run, 43 of 43."""
    edges, cam = made(places, share=0.0003)
    extra = {"dead_centre": "97 deg"} | ({"marks": places} if told else {})
    (finding,) = cylinders(edges, cam, extra)
    assert finding.outcome == "seen"
    assert "Cylinder 4" in finding.sentence
    assert finding.low < -40 < finding.high


def test_a_once_a_turn_mark_leaves_the_partner_open():
    edges, once = made(118, second="turn")
    (finding,) = cylinders(edges, once, {"dead_centre": "97 deg", "marks": 118}, name="index")
    assert finding.outcome == "inconclusive"
    # 4 fires one turn away from 3 in 1-5-3-6-2-4.
    assert "Cylinder 3 or 4" in finding.sentence
    assert "partner" in finding.reason
    assert finding.support == ()


def test_a_wrong_number_of_marks_never_makes_it_worse():
    edges, cam = made(118)
    (finding,) = cylinders(edges, cam, {"dead_centre": "97 deg", "marks": 120})
    assert finding.outcome == "seen"
    assert "Cylinder 4" in finding.sentence
    assert "120 marks were written down; the teeth show 118" in finding.sentence


@pytest.mark.parametrize(("places", "missing"), [(60, (58, 59)), (118, (116, 117))])
@pytest.mark.parametrize("share", [0.0003, 0.003])
def test_missed_teeth_do_not_hide_the_gaps_of_a_wheel(places, missing, share):
    """Before: three teeth in ten thousand were enough to refuse the wheel."""
    edges = sweep_edges(278.0, at="flywheel", places=places, missing=missing, seconds=12)
    keep = np.random.default_rng(4).random(len(edges)) >= share
    marks = find_marks(edges[keep])
    assert marks.indexed
    assert marks.places == places
    whole = find_marks(edges)
    placed = whole.place[np.searchsorted(whole.time, marks.time)]
    assert len(set((marks.place - placed).tolist())) == 1


@pytest.mark.parametrize("share", [0.0003, 0.003])
def test_missed_teeth_are_counted_between_the_marks_of_the_camshaft(share):
    edges, cam = made(138)
    keep = np.random.default_rng(5).random(len(edges)) >= share
    marks, cycle = marks_by_turns(edges[keep], cam)
    assert cycle
    assert marks.places == 138
    assert marks.missed == np.count_nonzero(~keep)
    all_of_them = np.searchsorted(edges, marks.time)
    assert len(set((marks.place - all_of_them).tolist())) == 1


def test_at_idle_about_the_same_is_only_said_where_it_would_have_shown():
    """Before: a cylinder 30 % weak was cleared at idle in 2 of 6."""
    edges, cam = sweep_edges(
        278.0, at="flywheel", low=650, high=652, seconds=20, weak=None, dead_centre=1.2, cam=True,
        places=118, missing=(), load=0.0,
    )  # fmt: skip
    idle = {"point": {"warm": True, "load": "none"}, "dead_centre": "97 deg"}
    (finding,) = cylinders(edges, cam, idle)
    assert finding.outcome == "inconclusive"
    assert "would have shown" in finding.sentence
    assert "1200 rpm under full load" in finding.reason
    assert finding.support == ()


def test_no_cylinder_is_said_to_lie_more_than_wholly_below_the_others():
    """Before: "only one that lies 108 % or more below the others would have shown"."""
    assert "63 % or more below" in shown_words(0.63)
    assert "does nothing would not surely have shown" in shown_words(1.08)


@pytest.mark.parametrize(("lack", "word"), [(0.18, "open"), (0.21, "weak")])
def test_the_weakest_of_six_sound_cylinders_is_seldom_named(lack, word):
    """Before: two standard deviations were enough, which one sound engine of eight reaches."""
    apart = np.array([-lack, 0.02, 0.03, 0.04, 0.05, lack - 0.14])
    found = Balance(apart, np.full(6, 0.08), True, 1, lack + 0.02, 0.9, lack)
    assert said(found) == word
