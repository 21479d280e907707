"""What the packs and the docs say may hurt nobody: order of the cables, brakes, caps, drains.

Common practice, no source, unless a law is named; the maker's manual comes first.
"""

import re
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge, shipped_packs

KNOWLEDGE = load_knowledge()
ROOT = Path(__file__).parents[2]
TEXTS = [*shipped_packs(), *sorted(ROOT.glob("docs/*.md")), ROOT / "README.md"]
TEXTS += sorted((ROOT / "src").rglob("*.py")) + sorted((ROOT / "src").rglob("*.html"))
FAMILIES = sorted(KNOWLEDGE.families)


def check(name):
    return KNOWLEDGE.test(name)


def cause(family, name):
    return KNOWLEDGE.families[family].cause(name)


@pytest.mark.parametrize("path", TEXTS, ids=lambda p: p.name)
def test_no_text_reverses_the_battery_or_cages_a_brake(path):
    text = path.read_text(encoding="utf-8").lower()
    # The earthed lead comes off first and goes on last.
    assert not re.search(r"negative[^.;]{0,20}last off|last off[^.;]{0,20}negative", text)
    assert not re.search(
        r"last lead off|positive[^.;\n]{0,20}first off|off first[: ]+positive", text
    )
    # A caged spring brake is a released parking brake (49 CFR 571.121 S5.6).
    for said in re.findall(r"[^.;\n]{0,50}\bcaged\b[^.;\n]{0,50}", text):
        assert re.search(r"never|releases|before a brake", said), said


def test_where_a_battery_lead_moves_the_order_is_said():
    for family, name in (
        ("hard_start", "hs_batt"),
        ("hard_start", "hs_starter"),
        ("electrical", "el_batt"),
    ):
        assert "negative" in cause(family, name).caution
        assert "first off, last on" in cause(family, name).caution
    assert "negative lead first off, last on" in cause("hard_start", "hs_batt").damage_risk


def test_a_stall_against_the_brakes_is_made_on_the_parking_brake():
    assert "parking brake on" in KNOWLEDGE.families["vib_load"].safety
    against = [
        t for f in KNOWLEDGE.families.values() for t in f.tests
        if re.search(r"against (the|applied) brakes", t.name, re.I)
    ]  # fmt: skip
    assert {"v_mount", "cut_stall", "u_rock"} <= {t.id for t in against}
    for test in against:
        for words in ("Parking brakes APPLIED", "wheels chocked", "lane clear", "seconds only"):
            assert words in test.caution, test.id


GAS = [
    t for f in KNOWLEDGE.families.values() for t in f.tests if "combustion-gas" in t.name.lower()
]


def test_every_family_with_a_gas_test_is_meant():
    assert {t.id for t in GAS} == {"c_gas", "x_gas", "o_gas", "m_gas", "clt_gas"}


@pytest.mark.parametrize("test", GAS, ids=lambda t: t.id)
def test_a_gas_test_on_an_open_neck_is_fitted_cold_and_never_after_a_loaded_run(test):
    assert "never a hot cap" in test.caution
    assert "open COLD only" in test.caution
    assert not {"load", "road"} & set(test.needs)
    assert "cold" in test.needs
    assert "loaded run" not in test.name


def test_no_trap_sends_a_gassing_engine_on_a_loaded_run():
    words = [t.words for f in KNOWLEDGE.families.values() for t in f.traps]
    assert not [w for w in words if "gas" in w and "loaded run" in w]


def test_a_turbo_is_neither_drained_open_nor_starved_on_a_running_engine():
    drain = check("b_turbo")
    assert "engine off" in drain.name
    assert "never open the drain of a running engine" in drain.caution
    for test in (t for f in KNOWLEDGE.families.values() for t in f.tests):
        if re.search(r"turbo.*drain|drain.*turbo", test.name, re.I):
            assert not {"running", "warm", "road", "load"} & set(test.needs), test.id
    feed = check("g_user")
    assert "turbo" not in feed.name.split("feed")[0]
    assert "never restricted or blanked on a running engine" in feed.caution
    assert "feed restricted" not in feed.positive


def test_a_crankcase_test_on_the_road_says_hot_oil_and_fumes():
    driven = [
        t for f in KNOWLEDGE.families.values() for t in f.tests
        if re.search(r"crankcase|blow-?by", t.name, re.I) and {"road", "load"} & set(t.needs)
    ]  # fmt: skip
    assert "b_pull" in {t.id for t in driven}
    for test in driven:
        for words in ("hot oil", "fumes", "outside the cab"):
            assert words in test.caution, test.id


@pytest.mark.parametrize("family", FAMILIES)
def test_a_fuel_gauge_on_the_road_stays_outside_the_cab(family):
    for test in KNOWLEDGE.families[family].tests:
        if "road" in test.needs and re.search(r"fuel psi|psi loss|vacuum", test.name, re.I):
            assert "outside the cab" in test.caution, test.id
        if re.search(r"sight|bubbles in return", test.name, re.I):
            assert "road" not in test.needs or "no clear hose" in test.caution, test.id


@pytest.mark.parametrize("family", FAMILIES)
def test_leak_down_air_and_pressed_coolant_carry_their_cautions(family):
    for test in KNOWLEDGE.families[family].tests:
        if "leak-down" in test.name.lower():
            assert "can turn the crank" in test.caution, test.id
        if re.search(
            r"pressure test 15|cold pressure test|holds rated psi|cap test", test.name, re.I
        ):
            assert "cap off cold only" in test.caution, test.id


def test_a_sensors_return_is_not_jumped_to_the_battery():
    assert "never a sensor's return" in check("e_gnd").name


def test_no_axle_runs_under_power_without_its_wheel():
    assert "run hub" not in check("s_drum").name
    assert "no axle is driven under power" in check("s_drum").caution
