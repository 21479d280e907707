"""Exhaust, urea, boost, coolant: what is looked at first, and what is never proposed meanwhile."""

import json

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import read_case
from witnessmark.workflow.dossier.assess_case import assess

KNOWLEDGE = load_knowledge()
#: Steps that heat the exhaust of a truck that stands.
HOT = {"rft_parked", "dft_conv"}


def steps_of(*families, clues=(), tests=(), work=(), tests_after=()):
    rows = [("truck", {"label": "Testbarley 2"})]
    rows.append(("complaint", {"words": "as the driver says", "families": list(families)}))
    rows += [("clue", {"clue": clue, "seen": True}) for clue in clues]
    rows += [("test", {"test": test, "result": result}) for test, result in tests]
    rows += [("work", {"cause": cause, "did": "put right"}) for cause in work]
    rows += [("test", {"test": test, "result": result}) for test, result in tests_after]
    lines = [
        json.dumps({"kind": kind, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
        for n, (kind, data) in enumerate(rows, 1)
    ]
    return assess(read_case("x", lines), {}).steps


def first_work(steps):
    return next(s.step for s in steps if s.kind != "safety")


@pytest.mark.parametrize(
    ("family", "found", "first"),
    [
        (
            "regen_filter",
            {"tests": [("rft_tail", "wet_oil")]},
            {"rft_history", "rft_scope", "rft_face", "rft_fluids"},  # the source comes first
        ),
        ("regen_filter", {"tests": [("rft_fluids", "coolant_loss")]}, {"rft_bar"}),
        ("boost_air", {"tests": [("bat_noise", "siren")]}, {"bat_wheel"}),
        ("egr_fault", {"tests": [("egt_level", "positive")]}, {"egt_bar"}),
        ("coolant_loss", {"clues": ["cl_no_puddle"]}, {"clt_bar"}),
        ("exhaust_leak", {"tests": [("xlt_track", "head")]}, {"xlt_smoke"}),
        ("engine_brake", {"clues": ["eb_stays_on"]}, {"ebt_cover", "ebt_bar"}),
    ],
)
def test_what_lifts_the_stop_is_done_first(family, found, first):
    assert first_work(steps_of(family, **found)) in first


@pytest.mark.parametrize(
    "found",
    [
        {"tests": [("rft_tail", "wet_oil")]},
        {"tests": [("rft_lockout", "too_full")]},
        {"tests": [("dft_tail", "wet")]},
        {"clues": ["no_clear_place"]},
        {"clues": ["fuel_or_oil_near_exhaust"]},
    ],
    ids=["wet", "overfull", "wet seen by the other", "no place", "drip"],
)
def test_nothing_heats_a_wet_overfull_or_dripping_exhaust_in_either_complaint(found):
    proposed = {s.step for s in steps_of("regen_filter", "def_derate", **found)}
    barred = HOT if found.get("tests") != [("rft_lockout", "too_full")] else {"rft_parked"}
    assert not proposed & barred


@pytest.mark.parametrize("clue", ["wrong_fluid_in_urea", "urea_in_fuel"])
def test_the_key_stays_off_in_every_complaint_of_the_case(clue):
    families = ("def_derate", "low_power", "hard_start")
    steps = steps_of(*families, clues=[clue])
    [stop] = [s for s in steps if s.kind == "safety" and "key on" in s.forbids]
    tests = {t.id: t for f in families for t in KNOWLEDGE.families[f].tests}
    keyed = {i for i, t in tests.items() if t.rules.state and t.rules.state.engine != "off"}
    assert {"dft_codes", "dft_pressure", "p_codes"} <= keyed
    assert not {s.step for s in steps} & (keyed - set(stop.checks))


def test_a_derate_is_lifted_by_the_dash_after_the_repair_alone():
    held = {"clues": ["derate_crawl"], "tests": [("dft_stale", "only_count")]}
    assert "stop_crawl" in {s.step for s in steps_of("def_derate", **held)}
    early = [*held["tests"], ("dft_conv", "negative"), ("dft_derate", "negative")]
    still = steps_of("def_derate", clues=held["clues"], tests=early)
    assert "stop_crawl" in {s.step for s in still}, "nothing was put right"
    held["work"] = ["df_count"]
    still = steps_of("def_derate", **held, tests_after=[("dft_conv", "negative")])
    assert "stop_crawl" in {s.step for s in still}, "the dash was not read after it"
    after = [("dft_conv", "negative"), ("dft_derate", "negative")]
    gone = steps_of("def_derate", **held, tests_after=after)
    assert "stop_crawl" not in {s.step for s in gone}


def test_a_cab_that_smells_is_cleared_by_all_three_and_in_every_complaint():
    parts = [("xlt_smoke", "negative"), ("xlt_source", "negative"), ("xlt_co", "negative")]
    for missing in range(3):
        made = [p for k, p in enumerate(parts) if k != missing]
        for family in ("exhaust_leak", "boost_air"):
            steps = steps_of(family, clues=["exhaust_in_cab"], tests=made)
            assert "stop_exhaust_in_cab" in {s.step for s in steps}
    steps = steps_of("boost_air", clues=["exhaust_in_cab"], tests=parts)
    assert "stop_exhaust_in_cab" not in {s.step for s in steps}
