"""The fuel model on whole cases: three stages, units gone wrong, contradicting readings."""

import json

import numpy as np
import pytest

from witnessmark.inference.fuel.draws.fuel_types import learn_type, table_for
from witnessmark.inference.fuel.fuel_evidence import _together, fuel_evidence
from witnessmark.inference.fuel.fuel_groups import (
    AIR,
    FAMILY,
    GAUGE,
    GROUPS,
    PUMP,
    RELIEF,
    RETURN,
    group_of,
)
from witnessmark.inference.fuel.fuel_observations import GALLERY
from witnessmark.inference.odds.case_odds import case_odds
from witnessmark.inference.onset import onset_findings
from witnessmark.knowledge import load_knowledge
from witnessmark.model.entries.case import Case, read_case
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.fuel_baseline import BaselineReading, FuelBaseline
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI, solve
from witnessmark.physics.fuel.supply_types import nominal, type_circuit

FLOW = "fuel_return_flow"
INSTRUMENT = {"id": "g1", "span": "160 psi", "accuracy": "1 % of span"}


def build(
    *entries: tuple[str, dict[str, object]], supply: str = "gallery", **truck: object
) -> Case:
    """Return a case of a truck with low fuel pressure and these entries."""
    engine = truck.pop("engine", {"fuel_supply": supply, "type": "example-15l"})
    start: list[tuple[str, dict[str, object]]] = [
        ("truck", {"label": "unit 7", "engine": engine, **truck}),
        ("complaint", {"words": "low fuel pressure, lazy up grades", "families": [FAMILY]}),
    ]
    lines = [
        json.dumps({"kind": k, "id": f"e{i}", "at": "2026-03-02T08:00:00Z", "data": d})
        for i, (k, d) in enumerate([*start, *entries])
    ]
    case = read_case("case", lines)
    assert not case.problems
    return case


def reading(value, rpm, quantity=GALLERY, load="none", **point):
    return ("reading", {"quantity": quantity, "value": value, "instrument": INSTRUMENT,
                        "point": {"rpm": rpm, "load": load, "warm": True, **point}})  # fmt: skip


def work(cause):
    return ("work", {"cause": cause, "did": "renewed"})


FILTERS_NEW = ("clue", {"clue": "filters_recent", "seen": True})
STAGE_0 = (FILTERS_NEW, reading("65 psi", 650), reading("78 psi", 1400))
STAGE_1 = (*STAGE_0, work("return_regulator"), reading("70 psi", 650), reading("80 psi", 1400))
STAGE_2 = (*STAGE_1, work("pump_relief"), reading("75 psi", 650), reading("95 psi", 1400))


@pytest.fixture(scope="module")
def knowledge():
    return load_knowledge()


# The three-stage case: common practice, no source (65/78 -> 70/80 -> 75/95 psi).
def test_stage_one_is_not_decided_and_the_relief_valve_leads(knowledge):
    found = fuel_evidence(build(*STAGE_0), knowledge)
    chance = found.posterior.group_probabilities()
    shown = found.presentation
    assert shown.named is None
    assert shown.level == "not decided"
    assert shown.zones[0][0] == "supply"
    assert "return" in [zone for zone, _ in shown.zones[:3]]
    assert int(np.argmax(chance)) == RELIEF
    assert chance[RELIEF] < 0.65
    assert found.posterior.healthy() < 0.02
    # of the two valves that are renewed on suspicion, two equal losses speak for the relief valve
    likelihood = found.findings[0].joint.log_likelihood
    assert likelihood[frozenset({RELIEF})] > likelihood[frozenset({RETURN})]


def test_stage_one_odds_put_the_relief_valve_first(knowledge):
    case = build(*STAGE_0)
    odds = case_odds(case, knowledge, fuel_evidence(case, knowledge).findings)[0]
    assert not odds.decided
    assert odds.causes[0].cause == "pump_relief"
    assert odds.probability("return_regulator") > 0.05


def test_stage_one_of_an_old_truck_ranks_the_pump_side_then_the_return_side(knowledge):
    """The relief valve before all parts, the return side before every other side but its own."""
    case = build(*STAGE_0, miles=640000)
    found = fuel_evidence(case, knowledge)
    odds = case_odds(case, knowledge, found.findings)[0]
    assert [zone for zone, _ in odds.zones[:2]] == ["supply", "return"]
    assert odds.causes[0].cause == "pump_relief"
    assert odds.causes[0].probability > 1.5 * odds.causes[1].probability
    assert not odds.decided
    words = found.findings[0].sentence
    assert words.index("relief valve") < words.index("return side")


def test_stage_two_keeps_the_relief_valve_among_the_likeliest(knowledge):
    case = build(*STAGE_1)
    found = fuel_evidence(case, knowledge)
    assert [f.stage for f in found.findings if f.joint is not None] == [0, 1]
    chance = found.posterior.group_probabilities()
    assert chance[RETURN] < 0.15  # it was renewed
    assert chance[RELIEF] > 0.15
    assert found.presentation.named is None
    # with the model's own shares (no pack) the relief valve is the likeliest single part
    own = fuel_evidence(case).posterior.group_probabilities()
    filter_left_out = np.delete(own, 2)  # the clue of new filters is the pack's
    assert int(np.argmax(filter_left_out)) == RELIEF
    forecast = {f.point.rpm: f for f in found.forecasts["pump_relief"]}
    assert forecast[1400.0].high / PSI > 90  # the real spring brought 95
    assert forecast[650.0].low / PSI < 75 < forecast[650.0].high / PSI + 1


def test_stage_three_looks_healthy_and_both_valves_stand_convicted(knowledge):
    case = build(*STAGE_2)
    found = fuel_evidence(case, knowledge)
    assert found.presentation.level == "healthy"
    assert found.posterior.group_probabilities(0)[RELIEF] > 0.9
    odds = case_odds(case, knowledge, found.findings)[0]
    assert not odds.decided
    assert odds.probability("pump_relief") < 0.05
    assert all(f.in_band > 0.8 for f in found.forecasts["pump_worn"])


def test_findings_carry_what_the_odds_and_the_screens_need(knowledge):
    finding = fuel_evidence(build(*STAGE_0), knowledge).findings[0]
    assert finding.joint.family == FAMILY
    assert finding.joint.groups == tuple(g.causes for g in GROUPS)
    assert len(finding.joint.log_likelihood) == 38
    assert finding.evidence.entries == ("e3", "e4")
    assert finding.details.effective_samples > 300
    assert finding.details.fits is True
    assert finding.details.type_known is False
    assert any("assumed" in a for a in finding.details.assumptions)


def test_causes_of_one_parameter_share_a_group():
    assert group_of("primary_filter") == group_of("suction_line") == group_of("tank_vent_fuel")
    assert group_of("pump_worn") == group_of("pump_drive")
    assert group_of("secondary_filter") == group_of("supply_restrict")
    assert group_of("front_seal") is None


def test_every_cause_of_the_pack_has_a_group(knowledge):
    causes = {c.id for c in knowledge.families[FAMILY].causes}
    assert causes == {c for g in GROUPS for c in g.causes}


@pytest.mark.parametrize(
    ("entry", "words"),
    [
        (reading("260 psi", 650), "above what the pump can give"),
        (reading("5.1 psi", 1400), "below what a running engine shows"),
        (reading("65 kPa", 650), "below what a running engine shows"),
        (reading("6 gal/min", 650, FLOW), "above what the pump can send back"),
    ],
)
def test_impossible_readings_are_problems_and_left_out(knowledge, entry, words):
    found = fuel_evidence(build(reading("75 psi", 650), reading("94 psi", 1400), entry), knowledge)
    assert any(words in p.what for p in found.problems), found.problems
    assert len(found.posterior.observations) == 2
    assert found.presentation.named is None


def test_a_swapped_unit_is_named(knowledge):
    found = fuel_evidence(build(reading("5.1 psi", 1400), reading("75 psi", 650)), knowledge)
    assert "bar" in found.problems[0].do
    found = fuel_evidence(build(reading("75 kPa", 650), reading("94 psi", 1400)), knowledge)
    assert "psi" in found.problems[0].do


def test_a_low_pressure_that_no_unit_explains_counts(knowledge):
    """A figure typed in psi was not read in kPa and turned; the engine may still turn over."""
    found = fuel_evidence(build(reading("12 psi", 650), reading("20 psi", 1400)), knowledge)
    assert not found.problems
    assert len(found.posterior.observations) == 2
    assert found.presentation.named is None
    none = fuel_evidence(build(reading("1 psi", 650), reading("20 psi", 1400)), knowledge)
    assert [p.where for p in none.problems] == ["e2"]


def test_a_sound_pair_says_that_nothing_wrong_is_likelier_than_any_one_fault(knowledge):
    found = fuel_evidence(build(reading("75 psi", 700), reading("95 psi", 1500)), knowledge)
    assert found.presentation.level == "perhaps healthy"
    assert "nothing is wrong" in found.findings[0].sentence
    assert found.posterior.healthy() > found.posterior.group_probabilities().max()


SWAPPED = [  # written, then what was meant as the problem names it
    (("65 kPa", 650, GALLERY), "If 65 was read in psi"),
    (("4.5 psi", 650, GALLERY), "If 4.5 was read in bar"),
    (("5.4 kPa", 1400, GALLERY), "If 5.4 was read in bar"),
    (("140 psi", 650, GALLERY), "If 140 was read in kPa"),
    (("5 gal/min", 650, FLOW), "If 5 was read in L/h"),
    (("1.9 L/h", 650, FLOW), "If 1.9 was read in L/min"),
    (("0.5 L/h", 650, FLOW), "gal/min"),
    (("29 inHg", 650, "fuel_suction_vacuum"), "kPa"),
]


@pytest.mark.parametrize(("written", "meant"), SWAPPED)
def test_swapped_units_are_problems_that_name_the_unit_meant(knowledge, written, meant):
    value, rpm, quantity = written
    sound = (reading("75 psi", 660), reading("93 psi", 1420))
    found = fuel_evidence(build(*sound, reading(value, rpm, quantity)), knowledge)
    assert [p.where for p in found.problems] == ["e4"]
    assert meant in found.problems[0].do
    assert len(found.posterior.observations) == 2
    assert found.presentation.named is None


@pytest.mark.parametrize("first", ["0.5 L/h", "1.9 L/h", "2.4 gal/h"])
def test_a_return_nobody_can_time_is_a_problem_at_a_low_pressure_too(knowledge, first):
    low = (FILTERS_NEW, reading("65 psi", 650), reading("78 psi", 1400))
    found = fuel_evidence(build(*low, reading(first, 650, FLOW)), knowledge)
    assert [p.where for p in found.problems] == ["e5"]
    assert f"If {first.split()[0]} was read in L/min" in found.problems[0].do
    nothing = fuel_evidence(build(*low, reading("0 L/h", 650, FLOW)), knowledge)
    assert not nothing.problems
    assert len(nothing.posterior.observations) == 3
    dribble = fuel_evidence(build(*low, reading("0.04 gal/min", 650, FLOW)), knowledge)
    assert not dribble.problems


@pytest.mark.parametrize("apart", [-20, -12, 12, 20])
def test_two_instruments_that_contradict_each_other_decide_nothing(knowledge, apart):
    kind, data = reading(f"{68 + apart} psi", 650)
    other = (kind, {**data, "instrument": {**INSTRUMENT, "id": "g2"}})
    case = build(reading("68 psi", 650), reading("80 psi", 1400), other)
    found = fuel_evidence(case, knowledge)
    assert [p.where for p in found.problems] == ["e2, e4"]
    assert "one of them is wrong" in found.problems[0].what
    assert found.presentation.level == "none fits"
    odds = case_odds(case, knowledge, found.findings)[0]
    assert not odds.decided
    assert odds.causes[0].probability < 0.3
    near = (kind, {**other[1], "value": "72 psi"})
    agree = fuel_evidence(build(reading("68 psi", 650), reading("80 psi", 1400), near), knowledge)
    assert not agree.problems


def test_a_pressure_above_the_pump_names_what_the_model_does_not_hold(knowledge):
    found = fuel_evidence(build(reading("140 psi", 650), reading("93 psi", 1400)), knowledge)
    assert "stuck shut" in found.problems[0].do


IMPOSSIBLE = [  # pressure falls with speed, throttling lowers it, load raises it, less flow faster
    ((GALLERY, "90 psi", 650, "none"), (GALLERY, "60 psi", 1400, "none")),
    ((GALLERY, "75 psi", 650, "none"),
     ("fuel_gallery_pressure_return_throttled", "60 psi", 650, "none")),
    ((GALLERY, "70 psi", 1500, "none"), (GALLERY, "95 psi", 1500, "full")),
    ((FLOW, "200 L/h", 650, "none"), (FLOW, "60 L/h", 1400, "none")),
    ((GALLERY, "90 psi", 1400, "none"), ("fuel_prefilter_pressure", "60 psi", 1500, "none")),
    (("fuel_suction_vacuum", "10 inHg", 1500, "none"),
     ("fuel_suction_vacuum", "2 inHg", 1500, "full")),
]  # fmt: skip


@pytest.mark.parametrize("pair", IMPOSSIBLE)
def test_readings_no_circuit_gives_together_decide_nothing(knowledge, pair):
    case = build(*(reading(value, rpm, quantity, load) for quantity, value, rpm, load in pair))
    found = fuel_evidence(case, knowledge)
    assert found.presentation.level == "none fits"
    odds = case_odds(case, knowledge, found.findings)[0]
    assert not odds.decided
    assert odds.causes[0].probability < 0.3


def test_only_impossible_readings_name_nothing(knowledge):
    case = build(reading("260 psi", 650))
    found = fuel_evidence(case, knowledge)
    assert found.problems
    assert found.posterior is None
    assert found.findings[0].outcome == "inconclusive"
    assert not case_odds(case, knowledge, found.findings)[0].decided


def test_vacuum_that_rises_at_lower_speed_decides_nothing(knowledge):
    vacuum = "fuel_suction_vacuum"
    case = build(reading("72 psi", 650), reading("85 psi", 1400),
                 reading("15 inHg", 650, vacuum), reading("4 inHg", 1800, vacuum))  # fmt: skip
    found = fuel_evidence(case, knowledge)
    assert any("higher at the lower engine speed" in p.what for p in found.problems)
    assert found.presentation.level == "none fits"
    assert found.findings[0].details.fits is False
    assert set(found.findings[0].joint.log_likelihood.values()) == {0.0}
    odds = case_odds(case, knowledge, found.findings)[0]
    assert not odds.decided
    assert not odds.fits


def test_a_curve_no_circuit_has_is_none_fits(knowledge):
    case = build(reading("92 psi", 650), reading("45 psi", 1400), reading("95 psi", 1800))
    found = fuel_evidence(case, knowledge)
    assert found.presentation.level == "none fits"
    assert found.presentation.statement.startswith("No fault of the fuel supply model fits")
    assert not case_odds(case, knowledge, found.findings)[0].decided


def test_pressure_before_the_filter_below_that_after_it(knowledge):
    case = build(reading("88 psi", 1400), reading("70 psi", 1400, "fuel_prefilter_pressure"))
    found = fuel_evidence(case, knowledge)
    assert any("before the filter" in p.what for p in found.problems)
    assert found.presentation.level == "none fits"


def test_two_readings_of_one_point_that_disagree(knowledge):
    found = fuel_evidence(build(reading("90 psi", 1400), reading("70 psi", 1400)), knowledge)
    assert any("more apart than" in p.what for p in found.problems)
    assert found.presentation.level == "none fits"


def test_missing_speed_is_not_zero_and_missing_load_is_less_sure(knowledge):
    case = build(("reading", {"quantity": GALLERY, "value": "65 psi"}))
    found = fuel_evidence(case, knowledge)
    assert found.findings[0].outcome == "not_run"
    assert "engine speed" in found.problems[0].what
    loose = fuel_evidence(build(reading("78 psi", 1400, load=None)), knowledge)
    tight = fuel_evidence(build(reading("78 psi", 1400)), knowledge)
    assert loose.posterior.healthy() > tight.posterior.healthy()


def test_nothing_runs_without_the_complaint_or_on_a_rail_engine(knowledge):
    lines = [json.dumps({"kind": "complaint", "id": "c", "at": "2026-03-02T08:00:00Z",
                         "data": {"words": "shakes", "families": ["vib_load"]}})]  # fmt: skip
    assert fuel_evidence(read_case("x", lines), knowledge).findings == ()
    rail = fuel_evidence(build(reading("65 psi", 650), supply="common_rail"), knowledge)
    assert rail.findings[0].outcome == "not_run"
    assert "gallery" in rail.findings[0].reason
    none = fuel_evidence(build(), knowledge)
    assert none.findings[0].outcome == "not_run"


def test_a_retracted_reading_does_not_count(knowledge):
    kept = fuel_evidence(build(reading("65 psi", 650), reading("78 psi", 1400)), knowledge)
    case = build(reading("65 psi", 650), reading("78 psi", 1400), reading("40 psi", 1000),
                 ("retract", {"entry": "e4", "why": "gauge not zeroed"}))  # fmt: skip
    found = fuel_evidence(case, knowledge)
    assert found.posterior.group_probabilities() == pytest.approx(
        kept.posterior.group_probabilities()
    )


def test_new_filters_and_bubbles_do_not_enter_the_likelihood_twice(knowledge):
    """They reach the odds through the pack; the joint support must be the same without them."""
    plain = fuel_evidence(build(reading("65 psi", 650), reading("78 psi", 1400)), knowledge)
    told = fuel_evidence(
        build(FILTERS_NEW, reading("65 psi", 650), reading("78 psi", 1400),
              ("test", {"test": "f_sight", "result": "negative"})), knowledge)  # fmt: skip
    one, two = plain.findings[0].joint.log_likelihood, told.findings[0].joint.log_likelihood
    assert one == pytest.approx(two)
    own = told.posterior.group_probabilities()
    assert own[5] < plain.posterior.group_probabilities()[5] * 2


def healthy_sheet() -> FuelBaseline:
    """Return one healthy engine's sheet of the generic type: pressures, flows, throttled."""
    c = type_circuit(nominal())
    rows = []
    for rpm, load in ((650.0, 0.0), (1000.0, 0.0), (1400.0, 0.0), (1800.0, 0.0), (1500.0, 1.0)):
        s = solve(c, rpm, load)
        point = OperatingPoint(rpm, load)
        rows.append(BaselineReading(GALLERY, point, float(s.gallery[0]), "own 1"))
        if rpm in {650.0, 1400.0}:
            rows.append(BaselineReading(FLOW, point, float(s.return_flow[0]), "own 1"))
    shut = float(solve(c, 650.0, throttled=True).gallery[0])
    rows.append(
        BaselineReading(
            "fuel_gallery_pressure_return_throttled", OperatingPoint(650.0, 0.0), shut, "own 1"
        )
    )
    return FuelBaseline("example-15l", tuple(rows))


def test_a_healthy_sheet_makes_the_type_known_and_sharpens_the_odds(knowledge):
    prior = learn_type(healthy_sheet())
    assert prior.known
    assert prior.shares[0] > 0.8  # the layout whose relief valve regulates
    entries = (reading("65 psi", 650), reading("77 psi", 1400),
               reading(f"{85 * 1.0} L/h", 650, FLOW))  # fmt: skip
    unknown = fuel_evidence(build(*entries), knowledge)
    known = fuel_evidence(build(*entries), knowledge, baseline=healthy_sheet())
    assert known.findings[0].details.type_known is True
    # FUEL.md section 2: 65 / 77 psi with 85 L/h is a relief spring at -25 % of this type; what the
    # model's curves may be off is the same on a type that is known
    assert known.posterior.group_probabilities()[RELIEF] > (
        unknown.posterior.group_probabilities()[RELIEF] + 0.02
    )
    other = FuelBaseline("another type", healthy_sheet().readings)
    found = fuel_evidence(build(*entries), knowledge, baseline=other).findings[0]
    assert found.details.type_known is False


def test_tables_are_kept_by_type():
    assert table_for(None) is table_for(None)
    assert table_for(healthy_sheet()) is table_for(healthy_sheet())
    assert table_for(None) is not table_for(healthy_sheet())


def test_flow_units_come_through():
    found = fuel_evidence(build(reading("75 psi", 650), reading("114 L/h", 650, FLOW)))
    assert found.posterior.observations[1].value == pytest.approx(114 * L_PER_H)


def test_odds_name_a_part_from_two_readings_only_where_the_type_is_known(knowledge):
    """Two readings that leave hardly a doubt: a regulator far down, on a type that is known."""
    entries = (reading("35 psi", 650), reading("84 psi", 1400))
    case = build(*entries)
    unknown = case_odds(case, knowledge, fuel_evidence(case, knowledge).findings)[0]
    assert not unknown.decided
    found = fuel_evidence(case, knowledge, baseline=healthy_sheet())
    known = case_odds(case, knowledge, found.findings)[0]
    assert known.decided is (known.causes[0].probability > 0.8)
    assert known.causes[0].cause == "return_regulator"
    assert any("type known" in a for a in known.assumptions)


ONSET = [("sudden", True, True), ("sudden", False, False), ("gradual", True, False),
         ("gradual", False, None), ("sudden", "maybe", None)]  # fmt: skip


@pytest.mark.parametrize(("clue", "seen", "suddenly"), ONSET)
def test_how_it_began_is_judged_evidence(knowledge, clue, seen, suddenly):
    """DOMAIN.md section 4, deduction 5: sudden is debris, slow is wear."""
    entries = (reading("65 psi", 650), reading("78 psi", 1400))
    plain = fuel_evidence(build(*entries), knowledge)
    told = fuel_evidence(build(("clue", {"clue": clue, "seen": seen}), *entries), knowledge)
    case = build(("clue", {"clue": clue, "seen": seen}), *entries)
    onset, _ = onset_findings(case, [knowledge.families[FAMILY]])
    assert bool(onset) is (suddenly is not None)

    def relief_to_pump(found):
        chance = found.posterior.group_probabilities()
        return chance[RELIEF] / chance[PUMP]

    ratio = relief_to_pump(told) / relief_to_pump(plain)
    if suddenly is None:
        assert ratio == pytest.approx(1.0, rel=0.05)
        return
    assert ratio > 1.3 if suddenly else ratio < 0.85
    assert "Judgement" in onset[0].source
    effect = onset[0].support[0].log_likelihood
    assert (effect["pump_relief"] > effect["pump_worn"]) is suddenly
    # the odds move the same way, and the pressures' own likelihood is untouched
    assert told.findings[0].joint.log_likelihood == pytest.approx(
        plain.findings[0].joint.log_likelihood
    )


def test_sudden_and_slow_at_once_is_a_problem(knowledge):
    case = build(("clue", {"clue": "sudden", "seen": True}),
                 ("clue", {"clue": "gradual", "seen": True}), reading("65 psi", 650))  # fmt: skip
    found = fuel_evidence(case, knowledge)
    onset, problems = onset_findings(case, [knowledge.families[FAMILY]])
    assert any("suddenly and slowly" in p.what for p in problems)
    assert not onset
    assert "onset" not in {f.code for f in found.findings}


def test_a_known_gauge_is_less_often_the_fault(knowledge):
    def bare(value, rpm):
        return ("reading", {"quantity": GALLERY, "value": value,
                            "point": {"rpm": rpm, "load": "none"}})  # fmt: skip

    unknown = fuel_evidence(build(bare("68 psi", 650), bare("84 psi", 1400)), knowledge)
    known = fuel_evidence(build(reading("68 psi", 650), reading("84 psi", 1400)), knowledge)
    assert unknown.posterior.group_probabilities()[GAUGE] > (
        1.4 * known.posterior.group_probabilities()[GAUGE]
    )
    assert [f.code for f in unknown.findings] == ["fuel_supply_model"]
    assert known.findings[-1].code == "fuel_gauge_known"


def test_cold_against_warm_splits_a_worn_pump_from_a_leaking_seat(knowledge):
    """FUEL.md section 7: slip follows the viscosity, a leaking seat does not."""
    warm = (reading("60 psi", 650), reading("85 psi", 1400), reading("66 L/h", 650, FLOW))
    plain = fuel_evidence(build(*warm), knowledge).posterior.group_probabilities()
    up = fuel_evidence(build(*warm, reading("70 psi", 650, warm=False)), knowledge)
    same = fuel_evidence(build(*warm, reading("60 psi", 650, warm=False)), knowledge)
    worn = up.posterior.group_probabilities()[PUMP]
    assert worn > plain[PUMP] + 0.05
    assert same.posterior.group_probabilities()[PUMP] < plain[PUMP] - 0.1
    assert same.posterior.group_probabilities()[RELIEF] > plain[RELIEF]


def test_an_unsteady_needle_speaks_for_air_and_a_steady_one_for_nothing(knowledge):
    steady = fuel_evidence(build(reading("66 psi", 650), reading("76 psi", 1500)), knowledge)
    swings = fuel_evidence(
        build(reading("62 to 70 psi", 650), reading("swings 70 to 82 psi", 1500)), knowledge
    )
    assert swings.posterior.group_probabilities()[AIR] > 0.25
    assert steady.posterior.group_probabilities()[AIR] < 0.10
    # the odds hear it with the readings, not beside them
    likelihood = swings.findings[0].joint.log_likelihood
    assert likelihood[frozenset({AIR})] > likelihood[frozenset({PUMP})]


def test_a_needle_that_swung_before_the_air_leak_was_mended_says_nothing_after(knowledge):
    before = (reading("60 to 72 psi", 650), reading("swings 68 to 84 psi", 1500))
    after = (reading("66 psi", 650), reading("78 psi", 1500))
    found = fuel_evidence(build(*before, work("air_ingress"), *after), knowledge)
    assert found.posterior.group_probabilities()[AIR] < 0.3


def test_a_pressure_that_was_called_about_right_counts_however_low_it_is(knowledge):
    found = fuel_evidence(build(reading("about 6 psi", 650)), knowledge)
    assert not found.problems
    assert len(found.posterior.observations) == 1
    assert found.posterior.fits


def test_two_readings_that_contradict_each_other_are_named(knowledge):
    case = build(reading("74 psi", 700), reading("55 psi", 700))
    found = fuel_evidence(case, knowledge)
    odds = case_odds(case, knowledge, found.findings)[0]
    assert "74 and 55 psi" in odds.statement
    assert "contradict" in odds.statement
    assert not odds.decided


def test_a_truck_without_a_return_regulator_never_has_it_at_fault(knowledge):
    low = (reading("58 psi", 650), reading("92 psi", 1500))
    case = build(*low)
    usual = case_odds(case, knowledge, fuel_evidence(case, knowledge).findings)[0]
    engine = {"fuel_supply": "gallery", "type": "example-15l", "fuel_regulator": "none"}
    case = build(*low, engine=engine)
    found = fuel_evidence(case, knowledge)
    without = case_odds(case, knowledge, found.findings)[0]
    assert usual.probability("return_regulator") > 0.2
    assert without.probability("return_regulator") < 0.01
    assert found.posterior.group_probabilities()[RETURN] < 0.01


def test_behind_an_electric_lift_pump_a_vacuum_does_not_count_and_is_not_asked_for(knowledge):
    engine = {"fuel_supply": "gallery", "type": "example-15l", "lift_pump": "electric"}
    vacuum = reading("14 inHg", 1500, "fuel_suction_vacuum")
    case = build(reading("62 psi", 650), reading("78 psi", 1500), vacuum, engine=engine)
    found = fuel_evidence(case, knowledge)
    assert any("electric lift pump" in p.what for p in found.problems)
    assert len(found.posterior.observations) == 2
    assert not any("vacuum" in m.id for m in found.measurements)
    assert any("electric lift pump" in a for a in found.assumptions)


def test_a_sound_pair_is_said_with_its_chance_and_what_settles_it(knowledge):
    case = build(reading("75 psi", 700), reading("95 psi", 1500))
    found = fuel_evidence(case, knowledge)
    odds = case_odds(case, knowledge, found.findings)[0]
    assert odds.nothing_wrong > odds.causes[0].probability
    assert "nothing is wrong" in odds.statement
    assert "%" in odds.statement
    assert "pull" in odds.statement
    pull = reading("91 psi", 1500, load="full")
    case = build(reading("75 psi", 700), reading("95 psi", 1500), pull)
    odds = case_odds(case, knowledge, fuel_evidence(case, knowledge).findings)[0]
    assert odds.nothing_wrong >= 0.5
    assert odds.statement.startswith("Probably nothing is wrong")
    low = build(reading("65 psi", 700), reading("78 psi", 1500))
    assert case_odds(low, knowledge, fuel_evidence(low, knowledge).findings)[0].nothing_wrong < 0.02


def test_before_anything_is_measured_the_complaint_is_believed(knowledge):
    assert case_odds(build(), knowledge, fuel_evidence(build(), knowledge).findings)[
        0
    ].nothing_wrong == pytest.approx(0.0)


def test_causes_found_together_raise_their_groups_by_the_named_causes_part(knowledge):
    """The rule: 1 + (odds - 1) times the share of both groups that the named causes hold."""
    family = knowledge.families["fuel_low"]
    known = {c.id: c.prior for c in family.causes}
    found = _together(family, known)
    assert found
    for pair in family.together:
        groups = [next(n for n, g in enumerate(GROUPS) if c in g.causes) for c in pair.causes]
        part = 1.0
        for group, cause in zip(groups, pair.causes, strict=True):
            part *= known[cause] / sum(known.get(c, 0.0) for c in GROUPS[group].causes)
        if (
            len(set(groups)) == 2
            and sum(
                {next(n for n, g in enumerate(GROUPS) if c in g.causes) for c in p.causes}
                == set(groups)
                for p in family.together
            )
            == 1
        ):
            assert found[frozenset(groups)] == pytest.approx(1.0 + (pair.odds - 1.0) * part)
