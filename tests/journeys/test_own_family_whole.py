"""A family that exists only in a shop's pack has everything that a shipped one has.

Stops in two levels, road card, list of readings, order, cautions, codes, estimate, proof, report.
The family and all its figures are invented.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from journeys.test_own_pack import (
    DYE,
    FAMILY,
    SPIN,
    TESTS,
    TRUCK,
    WORK,
    complaint,
    entries,
    result,
)
from web.bench_page import Client, settled
from witnessmark.analyses.road.road_test import road_test_card
from witnessmark.knowledge import load_knowledge
from witnessmark.model.recording import Channel, Recording
from witnessmark.web.app import create_app
from witnessmark.workflow.case.packs_of_shop import knowledge_of, pack_files
from witnessmark.workflow.case.shop_on_disk import Shop, open_shop
from witnessmark.workflow.dossier.as_json import assessment_json
from witnessmark.workflow.dossier.dossier_of_shop import assess_in_shop
from witnessmark.workflow.dossier.gauge_round import next_reading, quantities_for
from witnessmark.workflow.papers.case_papers import report_html
from witnessmark.workflow.shop.pack_check import check_pack_file

RULES = """
[[conditions]]
id = "cab_hiss"
words = "it hisses under the bonnet"
base_rate = 0.05
source = "owner"

[[stops]]
id = "stop_cab_gas"
when = [
  { clue = "cab_hiss" },
  { reading = "coolant_temperature", above = "118 degC" },
  { spn = 876, fmi = [5] },
]
say = "Engine off: nobody near it until the fittings are looked at"
why = "Gas under pressure takes the eyes."
until = [{ test = "cab_dye", result = "negative" }]
until_words = "the fittings are dry"
until_drive = [{ test = "cab_spin", result = "negative" }]
until_drive_words = "the clutch takes hold"
once_checked = "Engine off: let a licensed hand recover the gas"
drive = "park"
blocks = ["start", "load", "road"]
source = "owner"

[[drive_points]]
id = "cab_ride"
words = "35 mph with the cooling on"
seconds = 20
road_speed = ["30 mph", "40 mph"]
needs = ["engine_speed", "road_speed"]
state = { engine = "running", road = true }
caution = "Windows shut, the second person reads."
source = "owner"

[[readings]]
quantity = "ambient_temperature"
[[readings]]
quantity = "battery_voltage"

[[cautions]]
id = "cab_goggles"
short = "Goggles on before a cap is opened."
long = "Gas freezes what it touches."
source = "the owner, invented"

[[codes]]
spn = 876
fmi = [5]
words = "clutch circuit open"
causes = ["cab_clutch"]
tests = ["cab_spin"]
points = "strong"
source = "owner"

[[triage]]
id = "cab_first"
ask = "Does it hiss?"
answers = [{ answer = "yes", drive = "park", means = "gas", clue = "cab_hiss" }]

[proof]
required = [{ test = "cab_dye", words = "the dye again, dry" }]
second = [{ quantity = "ambient_temperature", words = "the air of that day" }, { word = true }]

[[cases]]
name = "it hisses"
clues = [{ clue = "cab_hiss" }]
fires = ["stop_cab_gas"]
[[cases]]
name = "it hissed, dry and taking hold"
clues = [{ clue = "cab_hiss" }]
tests = [{ test = "cab_dye", result = "negative" }, { test = "cab_spin", result = "negative" }]
silent = ["stop_cab_gas"]
[[cases]]
name = "the gauge says hot"
readings = [{ quantity = "coolant_temperature", value = "250 degF" }]
fires = ["stop_cab_gas"]
[[cases]]
name = "the code of the clutch"
codes = [{ spn = 876, fmi = 5 }]
fires = ["stop_cab_gas"]
"""
HISS = ("clue", {"clue": "cab_hiss", "seen": True})


def pack_text() -> str:
    family = FAMILY.replace("witnessmark.pack/1.0", "witnessmark.pack/2.0").replace(
        "second_cause = 0.1", 'second_cause = 0.1\ndrive_points = ["cab_ride", "idle"]'
    )
    tests = TESTS.replace(
        'id = "cab_dye"\n',
        'id = "cab_dye"\nkind = "look"\nfree_look = true\ncautions = ["cab_goggles"]\n'
        'state = { engine = "off" }\n',
    ).replace(
        'id = "cab_spin"\n', 'id = "cab_spin"\nkind = "functional"\nstate = { engine = "idle" }\n'
    )
    rules, cases = RULES.split("[[cases]]", 1)
    return family + rules + tests + "[[cases]]" + cases


@pytest.fixture
def shop(tmp_path: Path) -> Any:
    made = open_shop(tmp_path / "shop", create=True)
    folder = made.folder / "packs"
    folder.mkdir(exist_ok=True)
    (folder / "zz_cab_cold.toml").write_text(pack_text(), "utf-8")
    yield made
    made.close()


def stops_of(shop: Shop, case: str) -> list[Any]:
    return [s for s in assess_in_shop(shop, case).steps if s.kind == "safety"]


def test_the_pack_is_sound_and_its_cases_of_stops_hold(shop: Shop) -> None:
    report = check_pack_file(pack_files(shop)[0])
    assert not report.problems
    row = next(c for c in report.covered if c.id == "stop_cab_gas")
    assert (len(row.fired), len(row.silent)) == (3, 1)


def test_its_stop_stands_first_asks_for_its_check_and_is_lifted_in_two_levels(shop: Shop) -> None:
    rows = entries(TRUCK, complaint("cab_cold"), HISS, result("cab_dye", "negative"), SPIN)
    shop.new_case("cold", rows[:3])
    first = assess_in_shop(shop, "cold").steps
    assert [s.step for s in first[:2]] == ["stop_cab_gas", "cab_dye"]
    assert (first[0].drive, first[0].until) == ("park", "the fittings are dry")
    told = assessment_json(assess_in_shop(shop, "cold"))
    assert told["drive"] == "park"
    assert told["stops"][0]["say"] == first[0].name
    assert told["stops"][0]["evidence"] == ["e2"]
    assert "cab_spin" not in {s.step for s in first}  # needs the engine running
    shop.append("cold", rows[3:4])
    [started] = stops_of(shop, "cold")
    assert started.name == "It may be started; do not drive it until the clutch takes hold"
    assert started.rules_out(("road",))
    assert not started.rules_out(("running",))
    assert "cab_spin" in {s.step for s in assess_in_shop(shop, "cold").steps}
    shop.append("cold", rows[4:5])
    assert stops_of(shop, "cold") == []
    assert assessment_json(assess_in_shop(shop, "cold"))["drive"] == "drive"


def test_a_check_that_finds_something_keeps_its_stop(shop: Shop) -> None:
    shop.new_case("cold", entries(TRUCK, complaint("cab_cold"), HISS, DYE))
    [stop] = stops_of(shop, "cold")
    assert stop.name == "Engine off: let a licensed hand recover the gas"


def ride(speed: float) -> Recording:
    time = np.arange(0.0, 60.0, 0.5)

    def channel(name: str, unit: str, value: float) -> Channel:
        return Channel(name, unit, time, np.full(time.size, value), np.zeros(time.size, np.uint8))

    channels = (channel("engine_speed", "rpm", 1300.0), channel("road_speed", "m/s", speed))
    return Recording("ride", "0" * 64, "bus", "invented", 60.0, channels)


def test_it_has_a_road_card_that_obeys_its_stop(shop: Shop) -> None:
    knowledge = knowledge_of(shop)
    shop.new_case("cold", entries(TRUCK, complaint("cab_cold"), HISS))
    stops = stops_of(shop, "cold")
    card = road_test_card(["cab_cold"], [], None, stops, knowledge=knowledge)
    assert [line.point for line in card] == ["cab_ride", "idle"]
    assert card[0].forbidden == stops[0].name
    driven = road_test_card(["cab_cold"], [ride(15.6)], None, knowledge=knowledge)
    assert driven[0].covered
    slow = road_test_card(["cab_cold"], [ride(10.0)], None, knowledge=knowledge)
    assert not slow[0].covered
    assert "35 mph with the cooling on" in slow[0].missing


def test_its_readings_are_offered_and_its_codes_and_questions_known(shop: Shop) -> None:
    knowledge = knowledge_of(shop)
    shop.new_case("cold", entries(TRUCK, complaint("cab_cold")))
    case = shop.case("cold")
    assert quantities_for(case, knowledge)[:2] == ("ambient_temperature", "battery_voltage")
    assert next_reading(case, knowledge).quantity == "ambient_temperature"
    [meaning] = knowledge.code(876, 5)
    assert (meaning.family, meaning.causes) == ("cab_cold", ("cab_clutch",))
    assert not knowledge.code(876, 3)
    assert knowledge.families["cab_cold"].triage[0].answers[0].drive == "park"
    assert "cab_goggles" in knowledge.cautions
    assert "cab_goggles" not in load_knowledge().cautions


def test_estimate_proof_page_and_report_speak_of_it(shop: Shop) -> None:
    shop.new_case("cold", entries(TRUCK, complaint("cab_cold"), DYE, SPIN, WORK))
    waiting = assess_in_shop(shop, "cold").proof_of("c1")
    assert any("the dye again, dry" in m for m in waiting.missing)
    again = result("cab_dye", "negative")
    word = ("outcome", {"complaint": "c1", "gone": True, "after_days": 3})
    rows = entries(TRUCK, complaint("cab_cold"), DYE, SPIN, WORK, again, word)
    shop.append("cold", rows[5:])
    assert assess_in_shop(shop, "cold").proof_of("c1").verdict == "proven"
    assert "Gas lost at a seal" in report_html(shop, "cold")
    shop.new_case("open", entries(TRUCK, complaint("cab_cold"), DYE, SPIN))
    assert "Gas lost at a seal" in report_html(shop, "open", quote=True)
    shop.new_case("hiss", entries(TRUCK, complaint("cab_cold"), HISS))
    client = Client(create_app(shop, assess=lambda case: assess_in_shop(shop, case)))
    assert "nobody near it until the fittings are looked at" in settled(client, "hiss")
    assert "nobody near it" in client.get("/cases/hiss/road-test").text
    client.close()
