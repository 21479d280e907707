"""Nothing that a standing stop forbids is proposed, in whatever somebody has entered.

The oracle (studies/standing_stops) reads stops and states straight from the packs and shares no
function with the program. The 5,000 seeds are in that study's table; here are fewer, and whole
dossiers on every door in tests/web/test_stops_on_every_door.py.
"""

import sys
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge

ROOT = Path(__file__).resolve().parents[2]
KNOWLEDGE = load_knowledge()
CHEAP = 400
#: A seed whose dossier has a stop that forbids to open anything.
LOAD_UP = 488


@pytest.fixture(scope="module")
def drawn():
    sys.path.insert(0, str(ROOT))
    try:
        from studies.standing_stops import random_dossiers
    finally:
        sys.path.remove(str(ROOT))
    return random_dossiers


def test_no_order_of_any_steps_holds_what_a_standing_stop_forbids(drawn):
    found = [drawn.cheap_dossier(seed, KNOWLEDGE) for seed in (*range(CHEAP), LOAD_UP)]
    assert [(d.seed, d.wrong) for d in found if d.wrong] == []
    # It could fail: stops stood, and what was held back was forbidden by them.
    stood = [d for d in found if d.stops]
    assert len(stood) > CHEAP // 3
    assert sum(d.held_back for d in stood) > len(stood)
    assert len({s for d in found for s in d.stops}) > 20
    # Some stood on their drive alone, some forbade to open anything.
    assert {s for d in found for s in d.drive_alone}
    assert any("open" in d.blocked for d in found)


def test_an_order_that_asked_no_stop_would_be_caught(drawn, monkeypatch):
    place = "witnessmark.planner.order.entries_to_order.forbidden_by"
    monkeypatch.setattr(place, lambda *_: None)
    assert [d for seed in range(60) if (d := drawn.cheap_dossier(seed, KNOWLEDGE)).wrong]
