"""A page never sends a stopped truck on the road, and never calls an open complaint done."""

import html

import pytest


def text_of(client, page):
    answer = client.get(page)
    assert answer.status_code == 200
    return html.unescape(answer.text)


@pytest.mark.parametrize(
    ("family", "stop", "idles"),
    [
        ("oil_press", "Stop the engine and check the oil level before it runs again", False),
        ("vib_speed", "Park the truck until wheel fasteners and wheel bearings are checked", True),
    ],
)
def test_the_road_test_card_carries_the_stops_and_asks_for_no_drive(
    client, shop, family, stop, idles
):
    shop.new_case("stopped", [])
    shop.add("stopped", "complaint", {"words": "as the driver says", "families": [family]})
    for clue in ("tyre_recent", "sudden") if family == "vib_speed" else ():
        shop.add("stopped", "clue", {"clue": clue, "seen": True})
    text = text_of(client, "/cases/stopped/road-test")
    assert stop in text
    assert "Not to be driven" in text
    assert "pull" not in text.lower().replace("maker", "").split("<footer")[0]
    assert ("Idle for 30 s" in text) == idles


def test_a_card_without_a_stop_still_asks_for_the_pull(client):
    text = text_of(client, "/cases/unit7/road-test")
    assert "Full-load pull" in text
    assert "Not to be driven" not in text


def test_a_complaint_without_a_family_is_said_to_be_open_on_page_and_paper(client, shop):
    shop.new_case("odd", [])
    shop.add("odd", "complaint", {"words": "smells of diesel in the cab", "families": []})
    page = text_of(client, "/cases/odd")
    assert "is open and names no family" in page
    assert "Nothing is proposed" not in page
    paper = text_of(client, "/cases/odd/report")
    assert "Nothing that was proposed" not in paper
    assert "The cause of “smells of diesel in the cab” is not decided." in paper
    assert "is open and names no family" in text_of(client, "/cases/odd/report?appendix=1")
    assert "Nothing is open on this truck" not in text_of(client, "/cases/odd/report?quote=1")
