"""Say it in a line on the page: shown first, taken with one tap, edited, nothing lost."""

from __future__ import annotations

import re
from html import unescape

import pytest

from witnessmark.model.entries.entry_data import NoteData, ReadingData, RetractData
from witnessmark.model.entries.ledger_data import CloseData
from witnessmark.workflow.shop.ledger import row_of

WHERE = "/cases/unit7/say"


def fields_of(page: str, case: str = "unit7") -> dict[str, str]:
    """Return what the form of cards would send as it stands."""
    form = page[page.index(f'method="post" action="/cases/{case}/say"') :]
    form = form[: form.index("</form>")]
    found: dict[str, str] = {}
    for tag in re.findall(r"<input[^>]*>", form):
        name, value = re.search(r'name="([^"]*)"', tag), re.search(r'value="([^"]*)"', tag)
        kind = re.search(r'type="(\w+)"', tag)
        ticked = " checked" in tag
        if name and (ticked or kind is None or kind[1] not in {"radio", "checkbox"}):
            found[name[1]] = unescape(value[1]) if value else ""
    for name, inner in re.findall(r'<select[^>]*name="([^"]*)">(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', inner)
        found[name] = chosen[1] if chosen else ""
    for name, inner in re.findall(r'<textarea[^>]*name="([^"]*)"[^>]*>(.*?)</textarea>', form):
        found[name] = unescape(inner)
    return found


def entries(shop) -> list:
    return list(shop.case("unit7").entries)


def test_every_case_has_the_field_and_a_page_without_a_line(client):
    page = client.get("/cases/unit7").text
    assert 'action="/cases/unit7/say"' in page
    assert 'name="line"' in page
    assert client.get(WHERE).status_code == 200
    assert client.get("/cases/none/say?line=x").status_code == 404


def test_nothing_is_stored_before_the_tap_and_once_after_two(client, shop):
    before = len(entries(shop))
    page = client.get(WHERE, params={"line": "gallery 61 psi idle, no air in the suction line"})
    assert page.status_code == 200
    assert "Fuel gallery pressure 61 psi, at idle" in page.text
    assert len(entries(shop)) == before
    sent = fields_of(page.text)
    assert sent["c1.take"] == "yes"
    for _ in range(2):
        answer = client.post(WHERE, data=sent)
        assert answer.status_code == 303, answer.text
    reading, test = entries(shop)[before:]
    assert reading.data.model_dump(exclude_unset=True) == {
        "quantity": "fuel_gallery_pressure", "value": "61 psi", "point": {"engine": "idle"},
    }  # fmt: skip
    assert (test.data.test, test.data.result) == ("f_sight", "negative")
    assert reading.data.point.rpm is None, "no speed is made of idle"


def test_a_card_is_edited_and_what_was_not_taken_is_kept_in_words(client, shop):
    before = len(entries(shop))
    line = "gallery 61 psi idle, spn 94 fmi 18 active, smells like a barn"
    sent = fields_of(client.get(WHERE, params={"line": line}).text)
    sent |= {"c1.value": "62 psi", "c1.engine": "", "c1.rpm": "690"}
    sent.pop("c2.take", None)
    assert client.post(WHERE, data=sent).status_code == 303
    first, note = entries(shop)[before:]
    assert isinstance(first.data, ReadingData)
    assert (first.data.value, first.data.point.rpm) == ("62 psi", 690)
    assert first.data.point.engine is None
    assert isinstance(note.data, NoteData)
    assert "barn" in note.data.words
    assert "94" in note.data.words


def test_what_is_unclear_is_not_ticked_and_its_question_is_shown(client):
    page = client.get(WHERE, params={"line": "gallery 66 at idle"}).text
    assert "66 in which unit" in page
    assert "c1.take" not in fields_of(page)
    odd = client.get(WHERE, params={"line": "65/78 <b>bold</b>"}).text
    assert "<b>bold" not in odd
    assert "Nothing was taken" in odd


@pytest.mark.parametrize(
    "change",
    [
        {"c1.value": "sixty"}, {"c1.value": "900 F"}, {"c1.rpm": "fast"},
        {"c1.quantity": "no_such"}, {"c1.data": "{{{", "c1.value": ""},
    ],
)  # fmt: skip
def test_a_wrong_edit_is_refused_with_a_sentence_and_stays_typed(client, shop, change):
    before = len(entries(shop))
    sent = fields_of(client.get(WHERE, params={"line": "gallery 61 psi idle"}).text) | change
    answer = client.post(WHERE, data=sent)
    assert answer.status_code == 422
    assert 'role="alert"' in answer.text
    if "c1.data" not in change:
        assert next(iter(change.values())) in answer.text or "c1.quantity" in change
    assert len(entries(shop)) == before


def test_a_line_takes_back_that_entry_or_nothing(client, shop):
    sent = fields_of(client.get(WHERE, params={"line": "gallery 61 psi idle"}).text)
    client.post(WHERE, data=sent)
    taken = entries(shop)[-1]
    page = client.get(WHERE, params={"line": "that last reading was wrong, gauge not zeroed"}).text
    sent = fields_of(page)
    assert sent["c1.entry"] == taken.id
    assert "c1.take" not in sent, "taking back is never done by default"
    none = client.post(WHERE, data=sent | {"c1.take": "yes", "c1.entry": ""})
    assert none.status_code == 422
    assert client.post(WHERE, data=sent | {"c1.take": "yes"}).status_code == 303
    back = entries(shop)[-1]
    assert isinstance(back.data, RetractData)
    assert (back.data.entry, back.data.why) == (taken.id, "gauge not zeroed")


def test_hostile_forms_are_answered_with_sentences(client, shop):
    before = len(entries(shop))
    for sent in (
        {}, {"count": "9" * 20, "line": "x"}, {"count": "1", "c1.take": "yes", "c1.kind": "code"},
        {"count": "1", "c1.take": "yes", "c1.kind": "reading", "c1.data": "[1]"},
    ):  # fmt: skip
        answer = client.post(WHERE, data={"entry_id": "z1", **sent})
        assert answer.status_code == 422, sent
    assert len(entries(shop)) == before
    assert client.get(WHERE, params={"line": "7" * 3000}).status_code == 200


def test_a_line_on_a_closed_case_is_kept_and_only_the_customers_word_opens_it(client, shop):
    """A reading or a note said after the close is stored; the case stays closed with its reason."""
    shop.add("unit7", "outcome", {"complaint": "e2", "gone": True})
    shop.add("unit7", "close", {"complaint": "e2", "how": "repaired_not_proven"})
    page = client.get("/cases/unit7").text
    assert 'action="/cases/unit7/say"' in page, "the field stands on a closed case, too"
    before = len(entries(shop))
    line = "towed in again from the yard, gallery 61 psi idle"
    sent = fields_of(client.get(WHERE, params={"line": line}).text)
    assert client.post(WHERE, data=sent).status_code == 303
    reading, note = entries(shop)[before:]
    assert (reading.data.value, reading.data.point.rpm) == ("61 psi", None)
    assert line in note.data.words, "the tow is kept in words, no entry is made of it"
    assert row_of(shop.case("unit7")).waits.kind == "nothing"
    sent = fields_of(client.get(WHERE, params={"line": "problem is back"}).text)
    assert "c1.take" not in sent, "a closed complaint is not opened by default"
    assert client.post(WHERE, data=sent | {"c1.take": "yes"}).status_code == 303
    assert entries(shop)[-1].data.gone is False
    assert row_of(shop.case("unit7")).waits.kind != "nothing", "said by somebody, it is open again"
    assert [d.how for _, d in shop.case("unit7").of(CloseData)] == ["repaired_not_proven"]
