"""Nothing that a standing stop forbids is proposed, in whatever somebody has entered.

The oracle (studies/standing_stops) reads stops and states straight from the packs and shares no
function with the program. The 5,000 seeds are in that study's table; here are fewer.
"""

import sys
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.model.step import forbidden_by
from witnessmark.workflow.dossier.assess_case import assess

ROOT = Path(__file__).resolve().parents[2]
KNOWLEDGE = load_knowledge()
CHEAP, WHOLE = 600, 16


@pytest.fixture(scope="module")
def drawn():
    sys.path.insert(0, str(ROOT))
    try:
        from studies.standing_stops import random_dossiers
    finally:
        sys.path.remove(str(ROOT))
    return random_dossiers


def test_no_order_of_any_steps_holds_what_a_standing_stop_forbids(drawn):
    found = [drawn.cheap_dossier(seed, KNOWLEDGE) for seed in range(CHEAP)]
    assert [(d.seed, d.wrong) for d in found if d.wrong] == []
    # It could fail: stops stood, and what was held back was forbidden by them.
    stood = [d for d in found if d.stops]
    assert len(stood) > CHEAP // 3
    assert sum(d.held_back for d in stood) > len(stood)
    assert len({s for d in found for s in d.stops}) > 20


def test_an_order_that_asked_no_stop_would_be_caught(drawn, monkeypatch):
    place = "witnessmark.planner.order.entries_to_order.forbidden_by"
    monkeypatch.setattr(place, lambda *_: None)
    assert [d for seed in range(60) if (d := drawn.cheap_dossier(seed, KNOWLEDGE)).wrong]


@pytest.mark.parametrize("seed", range(WHOLE))
def test_no_whole_dossier_proposes_what_a_standing_stop_forbids(drawn, seed):
    dossier = assess(read_case("x", drawn.lines_of(seed, KNOWLEDGE)), {})
    stops = [s for s in dossier.steps if s.kind == "safety"]
    proposed = [s for s in dossier.steps if s.kind != "safety"]
    names = [*(s.step for s in proposed), *(c for s in proposed for c in s.along)]
    assert drawn.wrong_in(names, [s.step for s in stops], KNOWLEDGE) == ()
    assert [s.step for s in proposed if forbidden_by(stops, s.step, s.demands)] == []
    barred = [
        t.name
        for o in dossier.odds
        for t in KNOWLEDGE.families[o.family].tests
        if forbidden_by(stops, t.id, t.demands) is not None
    ]
    offered = [w for o in dossier.odds for c in o.causes for w in c.would_change]
    assert not [w for w in offered if w.startswith(tuple(f"{b}: " for b in barred))]
