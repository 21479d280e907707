"""Invented trucks from check-in to proof: what a good technician would say at every stage."""

from __future__ import annotations

import json
from typing import Any

import pytest

from witnessmark.knowledge import load_knowledge
from witnessmark.model.dossier import Dossier
from witnessmark.model.entries.case import read_case
from witnessmark.model.odds import Odds
from witnessmark.model.step import Step
from witnessmark.report.as_html import paper_html
from witnessmark.words.say.estimate import may_remain
from witnessmark.workflow.dossier.assess_case import assess
from witnessmark.workflow.papers.case_papers import paper_of

Entry = tuple[str, dict[str, Any]]


class Job:
    """One truck; every call of :meth:`now` writes entries down and judges the case anew."""

    def __init__(self, *families: str, miles: float = 400_000, apart: bool = False) -> None:
        self.rows: list[Entry] = [("truck", {"label": "Testbarley 1", "miles": miles})]
        for named in [[f] for f in families] if apart else [list(families)]:
            self.rows.append(("complaint", {"words": "as the driver says", "families": named}))

    def now(self, *entries: Entry) -> Job:
        self.rows += entries
        lines = [
            json.dumps({"kind": k, "id": f"e{n}", "at": "2026-03-02T08:00:00Z", "data": data})
            for n, (k, data) in enumerate(self.rows, 1)
        ]
        self.found: Dossier = assess(read_case("x", lines), {})
        assert not self.found.problems
        return self

    @property
    def odds(self) -> Odds:
        return self.found.odds[0]

    def chance(self, cause: str) -> float:
        return next(
            o.probability(cause) for o in self.found.odds if cause in {c.cause for c in o.causes}
        )

    @property
    def work(self) -> list[Step]:
        return [s for s in self.found.steps if s.kind != "safety"]

    @property
    def first(self) -> Step:
        return self.work[0]

    @property
    def stops(self) -> dict[str, str]:
        return {s.step: s.name for s in self.found.steps if s.kind == "safety"}

    def before(self, one: str, other: str) -> bool:
        order = [s.step for s in self.work]
        return one in order and (other not in order or order.index(one) < order.index(other))


def first_repair(job: Job) -> Step:
    """Return the first repair; a look of minutes may stand before it."""
    number, step = next((n, s) for n, s in enumerate(job.work) if s.kind == "repair")
    assert number <= 2
    return step


def behind_the_looks(job: Job) -> Step:
    """Return the first step that is more than a look."""
    knowledge = load_knowledge()
    for step in job.work:
        test = knowledge.test(step.step) if step.kind == "test" else None
        if test is None or test.kind != "look":
            return step
    raise AssertionError("only looks are left")


def clue(name: str, cause: str | None = None) -> Entry:
    return "clue", {"clue": name, "seen": True} | ({"cause": cause} if cause else {})


def looked(name: str, result: str = "positive") -> Entry:
    return "test", {"test": name, "result": result}


def work(cause: str) -> Entry:
    return "work", {"cause": cause, "did": "renewed"}


def word(gone: bool | str, days: float = 2, complaint: str = "e2") -> Entry:
    return "outcome", {"complaint": complaint, "gone": gone, "after_days": days}


def reading(quantity: str, value: str, rpm: float, load: str = "none") -> Entry:
    point = {"rpm": rpm, "load": load, "warm": True}
    return "reading", {"quantity": quantity, "value": value, "point": point}


def test_a_loose_damper_is_parked_checked_and_made_fast() -> None:
    job = Job("vib_load").now(clue("overhaul"), clue("sudden"))
    assert "checked" in job.stops["stop_damper"]
    assert job.first.step == "v_bolt"
    job.now(looked("v_bolt"), looked("v_first"), looked("v_neutral"))
    assert job.odds.causes[0].cause == "damper_loose"
    assert "made fast" in job.stops["stop_damper"]
    repair = first_repair(job)
    assert repair.step == "damper_loose"
    assert any("bolts" in part for part in repair.must_renew)
    assert any("loose damper" in c for c in repair.cautions)


def test_a_wheel_that_sits_on_dirt_is_found_on_the_stand_and_not_called_proven_by_a_word() -> None:
    job = Job("vib_speed").now(clue("tyre_recent"), clue("sudden"))
    assert "stop_wheel_end" in job.stops
    assert "road" not in job.first.needs
    assert any("before the work: a recording" in m for m in job.found.proofs[0].missing)
    job.now(looked("s_balance", "negative"), looked("s_tread", "negative"), looked("s_seat"))
    # The wheel is off and its seat was seen bad: it is put right before the nuts are tried again.
    assert job.first.step == "wheel_mount"
    assert "stop_wheel_end" in job.stops
    job.now(work("wheel_mount"))
    assert job.first.step == "remeasure_vib_speed"
    job.now(looked("s_order", "negative"), word(True))
    assert job.found.proofs[0].verdict == "not enough evidence"
    assert "nothing from before the work" in job.found.proofs[0].missing[0]


def test_sweet_white_smoke_is_barred_over_and_the_cooler_tested_before_it_is_bought() -> None:
    job = Job("smoke", "coolant_cross", miles=500_000)
    job.now(clue("white"), clue("topups"), clue("overheated"))
    assert {"stop_hydro_lock", "stop_contaminated_oil"} <= set(job.stops)
    assert all(s.access < 4 for s in job.work[:2])
    assert job.before("m_egrpress", "xc_egr"), "the cooler pressed by itself, once for both"
    job.now(looked("m_gas"), looked("x_gas"), looked("x_ext", "negative"), looked("x_egr"))
    assert job.chance("xc_egr") > job.chance("xc_hg")
    job.now(work("xc_egr"), looked("x_gas", "negative"), looked("m_gas", "negative"), word(True, 3))
    assert all(o.none_listed > 0.9 for o in job.found.odds), "one fault made both complaints"


def test_a_flickering_oil_light_is_the_sensor_only_once_a_gauge_says_so() -> None:
    job = Job("oil_press").now(clue("single_sensor"), clue("harness_repair"))
    assert job.first.step == "g_level"
    assert job.before("g_mech", "op_sensor")
    job.now(looked("g_level", "negative"), looked("g_mech"), reading("oil_pressure", "28 psi", 650))
    assert not job.stops
    assert first_repair(job).step == "op_sensor"
    job.now(
        work("op_sensor"),
        reading("oil_pressure", "27 psi", 650),
        reading("oil_pressure", "52 psi", 1500),
        reading("oil_temperature", "205 degF", 1500),
        word(True),
    )
    assert job.found.proofs[0].verdict == "proven"
    assert job.odds.statement.startswith("Proven by measurement")
    assert not job.found.steps


def test_thin_oil_that_was_only_changed_comes_back_and_the_source_is_named_as_the_trap() -> None:
    job = Job("oil_press", miles=610_000).now(
        clue("oil_rising"), reading("oil_pressure", "8 psi", 650)
    )
    job.now(looked("g_level"), looked("g_shape"), looked("g_test"))
    assert job.odds.causes[0].cause == "op_dilution"
    assert any("source of the fuel or coolant" in trap for trap in job.odds.traps)
    job.now(work("op_dilution"), reading("oil_pressure", "24 psi", 650), word(False, 14))
    assert job.found.proofs[0].verdict == "not proven"
    assert job.before("g_level", "g_pan"), "no pan comes off before the dipstick"


def test_breather_and_compressor_are_both_found_and_no_overhaul_is_sold() -> None:
    job = Job("crankcase", miles=910_000).now(clue("gradual"))
    assert job.odds.causes[0].cause == "cc_rings", "the miles shout rings"
    assert job.first.step == "b_look", "a look before an instrument"
    assert behind_the_looks(job).step == "b_cold"
    job.now(looked("b_cold", "negative"), reading("crankcase_pressure", "14 inH2O", 2100))
    job.now(looked("b_breather", "maybe"), looked("b_compr"), looked("b_leakdown", "negative"))
    leading = {c.cause for c in job.odds.causes[:2]}
    assert leading == {"cc_breather", "cc_comp"}
    assert any("one found is not all found" in trap for trap in job.odds.traps)
    before = job.chance("cc_comp")
    job.now(
        work("cc_breather"), reading("crankcase_pressure", "8.2 inH2O", 2100), word("partly", 1)
    )
    assert job.found.proofs[0].verdict == "not proven"
    assert job.chance("cc_comp") > before, "a repair that did not finish it speaks for the other"
    job.now(
        work("cc_comp"),
        reading("crankcase_pressure", "3.1 inH2O", 2100),
        reading("crankcase_pressure", "4.6 inH2O", 1500, "full"),
        word(True, 5),
    )
    assert job.found.proofs[0].verdict == "proven"


def test_injectors_that_did_not_cure_a_hot_no_start_fall_and_the_rest_rises() -> None:
    job = Job("hard_start", miles=890_000).now(clue("worse_hot"))
    job.now(looked("h_crank", "negative"), looked("h_rpm", "negative"), looked("h_rail"))
    assert job.odds.causes[0].cause == "hs_inj"
    assert job.first.kind == "test", "a look of minutes before 2,000 USD of injectors"
    before = {c: job.chance(c) for c in ("hs_inj", "hs_drain", "hs_comp")}
    job.now(work("hs_inj"), word(False))
    assert job.chance("hs_inj") < before["hs_inj"] / 2
    assert job.chance("hs_drain") > before["hs_drain"]
    assert job.chance("hs_comp") > before["hs_comp"]


def test_what_others_renewed_in_vain_does_not_lead_and_the_exhaust_is_found() -> None:
    job = Job("low_power", miles=480_000)
    job.now(clue("part_new", "lp_turbo"), clue("part_new", "lp_inj"), clue("egr"), clue("gradual"))
    job.now(looked("p_boost"), *(looked(t, "negative") for t in ("p_leak", "p_filt", "p_fuel")))
    assert job.first.step == "p_dpf", "the exhaust leads, and that reading sees it"
    told = behind_the_looks(job).step
    assert told in {"p_dpf", "p_exh", "p_egr", "p_vgt", "p_cut", "p_codes"}
    job.now(looked("p_exh"))
    assert job.odds.causes[0].cause == "lp_exhaust"
    job.now(work("lp_exhaust"), reading("boost_pressure", "28 psi", 1500, "full"), word(True, 3))
    assert job.found.proofs[0].verdict == "proven"


def test_a_trailer_is_found_by_leaving_it_behind() -> None:
    job = Job("vib_speed")
    made = ("s_order", "s_shaft", "s_shaft2", "s_tread", "s_bearing")
    job.now(*(looked(t, "negative") for t in made), looked("s_coast"), looked("s_bob"))
    assert job.odds.causes[0].cause == "trailer"
    assert not job.odds.decided


def test_two_complaints_stay_two_until_each_is_answered() -> None:
    job = Job("vib_load", "smoke", miles=610_000, apart=True).now(clue("white"), clue("bad_fuel"))
    job.now(looked("v_cutout"), looked("v_half"))
    assert job.odds.causes[0].cause == "cyl_imbalance"
    assert "smoke" in next(s for s in job.work if s.step == "cyl_imbalance").also
    job.now(work("cyl_imbalance"), word(True, 3, "e2"), word(False, 3, "e3"))
    shake, smoke = job.found.odds
    assert shake.none_listed > 0.8
    assert smoke.none_listed < 0.3
    assert {s.family for s in job.work if s.kind == "test"} == {"smoke"}
    alone = Job("smoke", miles=610_000).now(clue("white"), clue("bad_fuel"))
    ours = next(s for s in job.work if s.kind == "test").expected_total_usd
    theirs = alone.first.expected_total_usd
    assert ours < 1.25 * theirs, "the cured complaint is not paid for again"


def test_nothing_new_moves_no_figure_and_the_sums_make_sense() -> None:
    job = Job("overheat", "coolant_cross", miles=680_000).now(clue("topups"), looked("o_level"))
    before = {c.cause: c.probability for o in job.found.odds for c in o.causes}
    steps = [(s.step, round(s.expected_total_usd, 6)) for s in job.found.steps]
    job.now(("note", {"words": "the owner rings at four"}))
    assert {c.cause: c.probability for o in job.found.odds for c in o.causes} == before
    assert [(s.step, round(s.expected_total_usd, 6)) for s in job.found.steps] == steps
    for odds in job.found.odds:
        shares = [c.probability for c in odds.causes]
        assert all(0.0 <= p <= 1.0 for p in shares)
        # Expected number of causes: at least one unless none, at most one more for each beyond.
        assert sum(shares) >= 1.0 - odds.none_listed - 1e-9
        assert sum(shares) >= 1.0 - odds.none_listed + odds.two_causes - 1e-9
        assert max(shares) <= 1.0 - odds.none_listed + 1e-9
        assert sum(p for _, p in odds.zones) >= 1.0 - odds.none_listed - 1e-9


def test_the_estimate_says_what_the_step_says_and_names_the_stop_first() -> None:
    job = Job("vib_load", miles=450_000).now(clue("overhaul"), clue("sudden"))
    job.now(looked("v_bolt"), looked("v_first"), looked("v_neutral"), looked("v_look", "damper"))
    assert job.first.step == "damper_loose"
    text = paper_html(paper_of(job.found, quote=True))
    assert "Do not start the engine before the damper is made fast" in text
    assert "It stands until:" in text
    assert "It may change what follows" not in text
    fails = next(r.probability for r in job.first.results if r.result == "not_cured")
    assert job.found.advice.estimate.chance_more_work == pytest.approx(fails)
    assert may_remain(fails) in text.replace("\u00a0", " ")
    assert may_remain(0.05) != may_remain(fails)


def test_low_fuel_pressure_is_read_on_a_gauge_before_anything_is_opened_or_sampled() -> None:
    job = Job("fuel_low", miles=410_000).now(clue("filters_overdue"))
    measured = behind_the_looks(job)
    assert measured.step == "gallery_idle_1400"
    assert measured.kind == "measure"
    assert "Nothing has been measured yet" in measured.why
    assert job.before("gallery_idle_1400", "f_dp"), "one pressure before the difference of two"
    job.now(looked("f_dp", "negative"))
    assert "gallery_idle_1400" not in {s.step for s in job.work[:1] if "Nothing has been" in s.why}
