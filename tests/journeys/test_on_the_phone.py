"""The phone and the roadside: the worst answer counts, and what was not asked frees no truck."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from conftest import Run
from web.bench_page import Client
from witnessmark.errors import InputRefused
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.web.app import create_app
from witnessmark.workflow.case.shop_on_disk import Shop, entry_line, open_shop
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.shop.phone import MOST, Asked, Told, questions_of, told, write_down

ORDER = ("park", "tow", "limp", "drive")


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load_knowledge()


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    made = open_shop(tmp_path / "shop", create=True)
    yield made
    made.close()


def answers(asked: Asked, drive: str) -> dict[str, str]:
    """Every question answered by the first answer with that word, else by the mildest one."""
    found = {}
    for question in asked.every:
        drives = [a.drive or "drive" for a in question.answers]
        wanted = drive if drive in drives else max(drives, key=ORDER.index)
        found[question.id] = str(drives.index(wanted) + 1)
    return found


def test_every_question_has_an_answer_that_frees_and_names_its_worst_first(
    knowledge: Knowledge,
) -> None:
    assert len(knowledge.triage) >= 10
    for question in knowledge.triage:
        drives = [a.drive for a in question.answers]
        assert None not in drives
        assert drives == sorted(drives, key=lambda d: ORDER.index(str(d))), question.id
        assert drives[-1] == "drive", question.id
        assert all(a.means and a.say for a in question.answers if a.drive in {"park", "tow"})
        assert all(a.clue in {"", *knowledge.conditions} for a in question.answers)


def test_no_family_asks_more_than_six(knowledge: Knowledge) -> None:
    for family in knowledge.families.values():
        assert len(questions_of(knowledge, [family.id]).family) <= MOST


def test_all_well_drives_and_one_worse_answer_counts(knowledge: Knowledge) -> None:
    asked = questions_of(knowledge, ["overheat"])
    assert asked.family
    well = answers(Asked(asked.truck, ()), "drive")
    assert told(Asked(asked.truck, ()), well).drive == "drive"
    for drive in ("limp", "tow", "park"):
        for question in asked.truck:
            worse = answers(Asked((question,), ()), drive)
            if question.answers[int(worse[question.id]) - 1].drive != drive:
                continue
            found = told(Asked(asked.truck, ()), {**well, **worse})
            assert found.drive == drive, question.id
            assert question.ask in found.reasons[0]


def test_what_must_be_known_frees_nothing_until_it_is_asked(knowledge: Knowledge) -> None:
    asked = questions_of(knowledge, [])
    well = answers(asked, "drive")
    for question in asked.truck:
        rest = {k: v for k, v in well.items() if k != question.id}
        found = told(asked, rest)
        assert found.drive == ("ask" if question.worse_if_unknown else "drive")
        unsure = told(asked, {**well, question.id: "?"})
        assert unsure.drive == ("park" if question.worse_if_unknown else "drive"), question.id
    assert told(asked, {}).drive == "ask"
    # Danger needs no further question.
    assert told(asked, {"t_stop": "1"}).drive == "park"


def test_answers_that_are_none_are_refused(knowledge: Knowledge) -> None:
    asked = questions_of(knowledge, [])
    for wrong in ({"t_stop": "99"}, {"t_stop": "x"}, {"nobody": "1"}, {"t_stop": "-1"}):
        with pytest.raises(InputRefused):
            told(asked, wrong)


def test_a_truck_that_stays_is_given_no_order_for_the_way(knowledge: Knowledge) -> None:
    """Park and "gently, no pulls" in one breath are two answers: the milder one waits."""
    for family in knowledge.families:
        asked = questions_of(knowledge, [family])
        ways = {a.say for q in asked.every for a in q.answers if a.drive in {"limp", "drive"}}
        firm = {a.say for q in asked.every for a in q.answers if a.drive in {"park", "tow"}}
        moving = answers(asked, "limp")
        free = told(asked, moving)
        stopped = told(asked, {**moving, "t_stop": "1"})
        assert stopped.drive == "park", family
        assert not set(stopped.also) & (ways - firm), family
        changed = {a.say for q in asked.every if q.id == "t_stop" for a in q.answers}
        kept = {*stopped.also, *stopped.later}
        assert set(free.also) - changed <= kept, "no order is dropped"
        if free.drive in {"limp", "drive"}:
            assert free.later == (), family


def call(knowledge: Knowledge) -> Told:
    asked = questions_of(knowledge, [])
    return told(asked, {**answers(asked, "drive"), "t_stop": "1"})


def test_the_answers_become_entries_and_the_stop_stands(shop: Shop, knowledge: Knowledge) -> None:
    shop.new_case("t1", [entry_line("complaint", {"words": "no brakes", "families": ["brakes"]})])
    found = call(knowledge)
    added = write_down(shop, "t1", found, base="eCall")
    assert write_down(shop, "t1", found, base="eCall") == []
    rows = [e for e in shop.case("t1").live() if e.id in added]
    assert {e.kind for e in rows} == {"clue", "note"}
    [note] = [json.loads(e.line)["data"] for e in rows if e.kind == "note"]
    assert note["about"] == "phone"
    assert "PARK" in note["words"]
    steps = assess_in_shop(shop, "t1").steps
    stops = [s for s in steps if s.kind == "safety"]
    assert {s.drive for s in stops} == {"tow", "park"}
    assert steps[: len(stops)] == tuple(stops)


def test_the_command_asks_and_says_the_word(witnessmark: Run, tmp_path: Path) -> None:
    shop = tmp_path / "shop"
    witnessmark("case", "new", shop, "t1", "--words", "hot", "--family", "overheat")
    listed = witnessmark("phone", shop, "--family", "overheat")
    assert "t_stop: Does it stop as always" in listed.stdout
    found = witnessmark("phone", shop, "--answer", "t_stop=1", "--case", "t1", "--json")
    assert json.loads(found.stdout)["drive"] == "park"
    assert len(json.loads(found.stdout)["added"]) == 3  # the answer, that it stays, the note
    open_call = witnessmark("phone", shop, "--answer", "t_runs=9")
    assert "NOT DECIDED" in open_call.stdout
    assert "Not asked yet:" in open_call.stdout
    assert witnessmark("phone", shop, "--answer", "t_stop").returncode == 2
    assert witnessmark("phone", shop, "--answer", "t_stop=44").returncode == 2


def test_the_page_goes_from_the_words_to_the_card_and_the_case(shop: Shop) -> None:
    client = Client(create_app(shop, assess=lambda case: assess_in_shop(shop, case)))
    words = {"step": "words", "words": "pedal goes to the floor <b>", "label": "Unit 8"}
    begun = client.post("/phone", data=words).text
    assert "heard: " in begun
    assert " checked" not in begun
    asked = client.post("/phone", data={**words, "families": ["brakes"]}).text
    assert "Does it stop as always" in asked
    assert "&lt;b&gt;" in asked
    card = client.post(
        "/phone", data={**words, "step": "card", "families": ["brakes"], "t_stop": "1"}
    ).text
    assert "PARK: it stays where it stands" in card
    assert "it may not stop" in card
    kept = {**words, "step": "keep", "families": ["brakes"], "t_stop": "1", "entry_id": "eCall2"}
    where = client.post("/phone", data=kept).headers["location"]
    assert client.post("/phone", data=kept).headers["location"] == where
    case = shop.case(where.rsplit("/", 1)[-1])
    assert case.families() == ("brakes",)
    assert len(shop.list_cases()) == 1
    assert "May it move?" in client.get(f"{where}/phone").text
    more = {"step": "keep", "case": case.id, "label": "Unit 8", "t_stop": "5", "entry_id": "eC3"}
    assert client.post("/phone", data=more).headers["location"] == where
    assert client.post("/phone", data={"step": "card", "t_stop": "77"}).status_code == 422
    client.close()
