"""Going one's own way from the page: chosen, with a reason, kept and scored."""

from __future__ import annotations

from web.bench_page import settled
from witnessmark.model.entries.entry_data import NoteData
from witnessmark.workflow.shop.own_ways import overrides_of, score_overrides

WHERE = "/cases/unit7/override"
FORM = {"entry_id": "o1", "step": "pump_worn", "why": "its drive rattles"}


def test_what_is_done_instead_is_kept_once_and_scored(client, shop):
    assert "I do something else" in settled(client)
    assert 'value="pump_worn"' in client.get(WHERE).text
    for _ in range(2):
        answer = client.post(WHERE, data=FORM)
        assert answer.status_code == 303
        assert answer.headers["location"] == "/cases/unit7#next"
    (found,) = overrides_of(shop.case("unit7"))
    assert (found.chosen, found.reason) == (("repair", "pump_worn"), "its drive rattles")
    assert found.proposed[1] != "pump_worn"
    assert "because its drive rattles" in settled(client)
    score = score_overrides(shop)
    assert (len(score.rows), score.open) == (1, 1)


def test_without_a_reason_or_a_choice_nothing_is_stored_or_lost(client, shop):
    before = len(shop.case("unit7").entries)
    bare = client.post(WHERE, data=FORM | {"why": "  "})
    assert bare.status_code == 422
    assert "needs a reason" in bare.text
    assert 'value="pump_worn" selected' in bare.text, "what was chosen stays chosen"
    none = client.post(WHERE, data=FORM | {"step": ""})
    assert none.status_code == 422
    assert "its drive rattles" in none.text, "what was typed stays typed"
    odd = client.post(WHERE, data=FORM | {"step": "gremlin"})
    assert odd.status_code == 404
    assert len(shop.case("unit7").entries) == before


def test_a_plain_note_is_no_override(client, shop):
    client.post("/cases/unit7/add/note", data={"entry_id": "n1", "words": "smells of diesel"})
    assert isinstance(shop.case("unit7").entries[-1].data, NoteData)
    assert overrides_of(shop.case("unit7")) == ()
