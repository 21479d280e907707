"""The belief of a family against enumeration written from the definitions alone."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from witnessmark.inference.family.family_belief import FamilyModel, family_belief
from witnessmark.inference.family.likelihood import as_known, flattened
from witnessmark.inference.family.misreading import mistake_of, told
from witnessmark.inference.family.prior import first_weights
from witnessmark.inference.family.staged_evidence import (
    Clue,
    Outcome,
    Stage,
    StagedEvidence,
    TestResult,
    Work,
)
from witnessmark.knowledge import load_knowledge
from witnessmark.model.details.reading_details import ReadingsModel
from witnessmark.model.finding import Evidence as Rests
from witnessmark.model.finding import Finding, JointSupport, Support
from witnessmark.model.shop_record import Closing, History

KNOWLEDGE = load_knowledge()
FAMILIES = sorted(KNOWLEDGE.families)


def believe(family, tests=(), clues=(), findings=(), history=None):
    evidence = StagedEvidence(
        tuple(Clue(*c) if isinstance(c, tuple) else Clue(c) for c in clues),
        (Stage(tests=tuple(TestResult(t, r) for t, r in tests), findings=tuple(findings)),),
    )
    return family_belief(
        KNOWLEDGE.families[family], evidence, history, conditions=KNOWLEDGE.conditions
    )


def written(test, chance, result):
    """P(the result written down), where the test is positive with some chance."""
    wrong = mistake_of(test)
    said = (1.0 - wrong) * chance + wrong * (0.5 * test.base[0] + 0.25)
    return said if result == "positive" else 1.0 - said


def found(rows, base, chosen):
    """P(positive | set), noisy-OR.

    The background of a test is the smallest of all its rows, so that each cause alone gives its
    own row; with none of the causes the pack's own background counts.
    """
    leak = min(base, *rows)
    missed = 1.0 - leak
    for i in chosen:
        missed *= (1.0 - rows[i]) / (1.0 - leak)
    return 1.0 - missed if chosen else base


def reports(record, model, tests, chosen):
    """Yield the likelihoods of the results under a set of causes, one a sign or lone test."""
    done = dict(tests)
    lone = [t for t in done if t not in model.sign_of]
    for identity in lone:
        test = model.tests[identity]
        rows = [test.row(c.id)[0] for c in record.causes]
        yield written(test, found(rows, test.base[0], chosen), done[identity])
    for sign in {s.id: s for t in done if (s := model.sign_of.get(t))}.values():
        shows = found(sign.given.tolist(), sign.base, chosen)
        absent = shown = 1.0
        for identity in [t for t in sign.reporters if t in done]:
            test = model.tests[identity]
            by_branch = []
            for row in (sign.reporters[identity].absent, sign.reporters[identity].shown):
                singles = [1.0 - row.leak[1] * f for f in row.factor[1]]
                by_branch.append(found(singles, float(row.base[0]), chosen))
            absent *= written(test, by_branch[0], done[identity])
            shown *= written(test, by_branch[1], done[identity])
        yield (1.0 - shows) * absent + shows * shown


def enumerated(family, tests, clues=()):
    """The definitions over sets of causes: noisy-OR by hand, two-outcome tests only."""
    record = KNOWLEDGE.families[family]
    model = FamilyModel(record, KNOWLEDGE.conditions)
    product = {c.id: 1.0 for c in record.causes}
    for clue in clues:
        for c in record.causes:
            product[c.id] *= c.odds_multipliers.get(clue, 1.0)
    raw = [c.prior * min(product[c.id], 20.0) for c in record.causes]
    ids = [c.id for c in record.causes]
    pairs = [(ids.index(p.causes[0]), ids.index(p.causes[1]), p.odds) for p in record.together]
    odds, unlisted = first_weights(
        np.asarray(raw) / sum(raw), record.second_cause, record.none_listed, pairs
    )
    n = len(record.causes)
    total = two = none = 0.0
    marginals = [0.0] * n
    for size in range(n + 1):
        for chosen in itertools.combinations(range(n), size):
            weight = unlisted if size == 0 else math.prod(odds[i] for i in chosen)
            weight *= math.prod(f for i, j, f in pairs if i in chosen and j in chosen)
            for likely in reports(record, model, tests, chosen):
                weight *= likely
            total += weight
            none += weight * (size == 0)
            two += weight * (size > 1)
            for i in chosen:
                marginals[i] += weight
    return np.asarray(marginals) / total, none / total, two / total


@pytest.mark.parametrize(
    ("family", "tests", "clues"),
    [
        ("crankcase", [("b_compr", "positive"), ("b_breather", "negative")], ()),
        ("electrical", [("e_ref", "positive"), ("e_bus", "negative")], ("harness_repair",)),
        # b_cut and cc_rings: a cause that makes a positive rarer than the background does
        ("crankcase", [("b_cut", "positive"), ("b_exb", "negative")], ("miles_500k",)),
        # two causes that are found together
        ("fuel_low", [("f_relief", "positive"), ("f_return", "negative")], ("miles_500k",)),
        # two tests that report one sign
        ("crankcase", [("b_cut", "positive"), ("b_pull", "negative")], ()),
    ],
)
def test_against_enumeration_of_every_set(family, tests, clues):
    belief = believe(family, tests, clues)
    marginals, none, two = enumerated(family, tests, clues)
    assert belief.marginals() == pytest.approx(marginals, abs=1e-13)
    assert belief.none_present() == pytest.approx(none, abs=1e-13)
    assert belief.two_or_more() == pytest.approx(two, abs=1e-13)


@pytest.mark.parametrize("family", FAMILIES)
def test_before_any_finding_the_shares_and_rates_are_the_packs(family):
    record = KNOWLEDGE.families[family]
    belief = believe(family)
    assert belief.two_or_more() == pytest.approx(record.second_cause, abs=1e-10)
    assert belief.none_present() == pytest.approx(record.none_listed, abs=1e-10)
    singles = belief.states[[1 << i for i in range(len(record.causes))]]
    assert singles / singles.sum() == pytest.approx([c.prior for c in record.causes], abs=1e-10)


@pytest.mark.parametrize("family", FAMILIES)
def test_every_row_of_every_test_is_reproduced_for_each_cause_alone(family):
    record = KNOWLEDGE.families[family]
    model = FamilyModel(record, KNOWLEDGE.conditions)
    for pack_test in record.tests:
        test = as_known(pack_test)
        chances = model.chances(pack_test)
        assert np.all(chances >= -1e-15)
        np.testing.assert_allclose(chances.sum(axis=0), 1.0, rtol=0.0, atol=1e-12)
        assert chances[:, 0] == pytest.approx(test.base)
        assert chances[:, -1] == pytest.approx(test.base)
        for i, cause in enumerate(record.causes):
            assert chances[:, 1 << i] == pytest.approx(test.row(cause.id), abs=1e-12)


def test_positive_stands_for_every_way_of_being_positive():
    pan = KNOWLEDGE.test("g_pan")
    belief = believe("oil_press", [("g_mech", "negative")])
    chance = belief.outcome_probabilities(pan)
    mixed = sum(
        chance[k] * belief.after_test(pan, o).marginals() for k, o in enumerate(pan.outcomes[:-1])
    ) / sum(chance[:-1])
    assert belief.after_test(pan, "positive").marginals() == pytest.approx(mixed, abs=1e-12)
    assert chance.sum() == pytest.approx(1.0)


RESULTS = st.sampled_from(["positive", "negative", "maybe"])


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(FAMILIES), st.data())
def test_the_order_of_findings_does_not_matter(family, data):
    record = KNOWLEDGE.families[family]
    tests = data.draw(
        st.lists(st.sampled_from([t.id for t in record.tests]), unique=True, max_size=6)
    )
    results = [(t, data.draw(RESULTS)) for t in tests]
    shuffled = data.draw(st.permutations(results))
    clues = data.draw(
        st.lists(st.sampled_from(sorted(KNOWLEDGE.conditions)), unique=True, max_size=4)
    )
    one, two = believe(family, results, clues), believe(family, shuffled, clues[::-1])
    np.testing.assert_allclose(one.states, two.states, rtol=0.0, atol=1e-12)
    assert one.states.sum() == pytest.approx(1.0)
    assert np.all(one.marginals() <= 1.0 + 1e-12)
    step = believe(family, (), clues)
    for test, result in shuffled:
        step = step.after_test(record.test(test), result)
    np.testing.assert_allclose(step.states, one.states, rtol=0.0, atol=1e-12)


@settings(max_examples=15, deadline=None)
@given(st.sampled_from(FAMILIES), st.data())
def test_what_results_would_do_is_what_they_do(family, data):
    record = KNOWLEDGE.families[family]
    ids = [t.id for t in record.tests]
    done = data.draw(st.lists(st.sampled_from(ids), unique=True, max_size=3))
    belief = believe(family, [(t, data.draw(RESULTS)) for t in done])
    asked = [t for t in record.tests if t.id not in done]
    for test, (chance, given_) in zip(asked, belief.all_results(asked), strict=True):
        assert chance == pytest.approx(belief.outcome_probabilities(test), abs=1e-13)
        for k, outcome in enumerate(test.outcomes):
            after = belief.after_test(test, outcome).marginals()
            assert given_[k] == pytest.approx(after, abs=1e-12)


def test_maybe_lies_between_and_weighs_two_to_one():
    test = KNOWLEDGE.test("f_sight")
    belief = believe("fuel_low")
    air = belief.causes.index("air_ingress")
    yes, perhaps, no = (
        belief.after_test(test, r).marginals()[air] for r in ("positive", "maybe", "negative")
    )
    assert yes > perhaps > belief.marginals()[air] > no
    states = belief.states * (1.0 + belief.model.chances(test)[0])
    assert perhaps == pytest.approx((belief.model.present @ states)[air] / states.sum())


def test_a_result_of_half_weight_halves_the_largest_log_ratio():
    test = as_known(KNOWLEDGE.test("f_return"))
    rows = np.asarray([test.base, *test.probability.values()])
    whole = told(test, "positive")
    half = flattened(test, whole, 0.5)
    ends = [np.log((rows @ w).max() / (rows @ w).min()) for w in (whole, half)]
    assert ends[1] == pytest.approx(0.5 * ends[0])
    belief = believe("fuel_low")
    assert belief.after_test(test, "positive", weight=0.0).marginals() == pytest.approx(
        belief.marginals()
    )


def test_where_no_sign_holds_two_tests_that_see_the_same_what_both_say_counts_half_for_one():
    # f_sight and f_drain see the same; f_sight reports another sign.
    model = believe("fuel_low").model
    assert "f_drain" not in model.sign_of["f_sight"].reporters
    agreed = model.weights({"f_sight": "positive", "f_drain": "positive"}, frozenset())
    assert agreed == {"f_sight": 1.0, "f_drain": 0.5}
    for one, other in (("positive", "negative"), ("positive", "maybe")):
        said = model.weights({"f_sight": one, "f_drain": other}, frozenset())
        assert set(said.values()) == {1.0}
    used = model.weights({"f_sight": "positive"}, frozenset({"f_sight"}))
    assert used == {"f_sight": 0.5}


def test_a_part_scoped_condition_counts_for_its_part_only():
    plain = believe("fuel_low")
    pump = believe("fuel_low", (), [("orig_paint", True, "pump_worn")])
    unscoped = believe("fuel_low", (), [("orig_paint", True, "")])
    np.testing.assert_allclose(unscoped.states, plain.states, rtol=1e-6, atol=1e-12)
    ratio = (pump.marginals() / plain.marginals()).round(6)
    raised = [c for c, r in zip(pump.causes, ratio, strict=True) if r > 1.0]
    assert raised == ["pump_worn"]
    singles = [1 << i for i in range(len(plain.causes))]
    k = plain.causes.index("pump_worn")
    before, after = plain.states[singles], pump.states[singles]
    other = plain.causes.index("return_regulator")
    # The pack's factor, among cases with one cause.
    assert (after[k] / after[other]) / (before[k] / before[other]) == pytest.approx(1.8)


def test_the_product_of_conditions_is_capped_and_not_so_is_evidence_too():
    many = ["filters_recent", "tank_line_work", "sat_long", "cold", "bad_fuel"]
    belief = believe("fuel_low", (), many)
    tank, air = belief.causes.index("tank_vent_fuel"), belief.causes.index("air_ingress")
    singles = belief.states[[1 << tank, 1 << air]]
    shares = [KNOWLEDGE.cause(c).prior for c in ("tank_vent_fuel", "air_ingress")]
    # tank: 4 * 3 * 1.5 = 18; air: 2.5 * 2.5 * 1.5 = 9.375
    assert singles[0] / singles[1] == pytest.approx(18 * shares[0] / (9.375 * shares[1]))
    looked = believe("cool_unstable", (), [("multi_sensor", False, "")])
    shared = looked.causes.index("ct_shared")
    assert looked.marginals()[shared] < believe("cool_unstable").marginals()[shared]


def finding(**fields):
    return Finding(code="a_check", sentence="A check.", outcome="seen", method="t/1", **fields)


def test_a_physical_finding_counts_as_its_likelihoods():
    support = Support("fuel_low", {"return_regulator": math.log(6.0), "pump_worn": math.log(0.5)})
    plain = believe("fuel_low")
    told = believe("fuel_low", findings=[finding(support=(support,))])
    regulator, pump = plain.causes.index("return_regulator"), plain.causes.index("pump_worn")
    gauge = plain.causes.index("fuel_gauge_err")

    def single(belief, number):
        return belief.states[1 << number] / belief.states[1 << gauge]

    assert single(told, regulator) / single(plain, regulator) == pytest.approx(6.0)
    assert single(told, pump) / single(plain, pump) == pytest.approx(0.5)
    both = 1 << regulator | 1 << gauge
    assert told.states[both] / told.states[1 << regulator] == pytest.approx(
        plain.states[both] / plain.states[1 << regulator]
    )
    assert plain.after(support).states == pytest.approx(told.states)


def test_a_finding_that_was_not_run_changes_nothing():
    support = Support("fuel_low", {"return_regulator": 5.0})
    silent = Finding(
        code="a_check", sentence="", outcome="not_run", reason="no reading", method="t/1",
        support=(support,), evidence=Rests(),
    )  # fmt: skip
    from witnessmark.inference.family.staged_evidence import family_evidence
    from witnessmark.model.entries.case import read_case

    case = read_case("x", [])
    family = KNOWLEDGE.families["fuel_low"]
    assert family_evidence(case, family, KNOWLEDGE, [silent]) == StagedEvidence()


def test_two_causes_that_both_bring_a_finding_about_do_not_make_it_surer_than_sure():
    support = Support("fuel_low", {"return_regulator": 3.0, "pump_worn": 3.0})
    factor = believe("fuel_low").model.support(support)
    causes = believe("fuel_low").causes
    a, b = (1 << causes.index(c) for c in ("return_regulator", "pump_worn"))
    assert factor[0] == pytest.approx(1.0)
    assert factor[a] == pytest.approx(math.exp(3.0))
    assert factor[a] < factor[a | b] < 1.06 * factor[a]


def test_a_joint_likelihood_counts_as_rated_and_states_its_rule_for_the_rest():
    groups = (("pump_relief",), ("pump_worn", "pump_drive"), ("return_regulator",))
    rated = {
        frozenset(): -8.0,
        frozenset({0}): -1.0,
        frozenset({1}): -2.0,
        frozenset({2}): -5.0,
        frozenset({0, 1}): -1.5,
    }
    joint = JointSupport("fuel_low", groups, rated)
    belief = believe("fuel_low")
    factor = belief.model.support(joint)
    bit = {c: 1 << i for i, c in enumerate(belief.causes)}
    top = math.exp(-1.0)
    assert factor[0] == pytest.approx(math.exp(-8.0) / top)
    assert factor[bit["pump_relief"]] == pytest.approx(1.0)
    assert factor[bit["pump_drive"]] == pytest.approx(math.exp(-2.0) / top)
    assert factor[bit["pump_drive"] | bit["pump_worn"]] == pytest.approx(math.exp(-2.0) / top)
    assert factor[bit["pump_relief"] | bit["pump_worn"]] == pytest.approx(math.exp(-1.5) / top)
    # {0, 2} is not rated: the mean of its largest rated subsets.
    pair = factor[bit["pump_relief"] | bit["return_regulator"]]
    assert pair == pytest.approx((math.exp(-1.0) + math.exp(-5.0)) / 2 / top)
    # A cause that no group holds, and the unlisted cause: half the groups', half the mean.
    mean = np.mean([math.exp(v) for v in rated.values()])
    outside = (math.exp(-8.0) + mean) / 2 / top
    assert factor[bit["fuel_other"]] == pytest.approx(outside)
    assert factor[-1] == pytest.approx(outside)


def test_a_repair_that_cured_and_one_that_did_not():
    family = KNOWLEDGE.families["fuel_low"]
    belief = believe("fuel_low", [("f_return", "positive"), ("f_mech", "negative")])
    regulator = belief.causes.index("return_regulator")
    before = belief.marginals()
    open_ = belief.after_repair("return_regulator", None)
    cured = belief.after_repair("return_regulator", True)
    failed = belief.after_repair("return_regulator", False)
    assert cured.healthy() > open_.healthy() > failed.healthy()
    assert open_.healthy() == pytest.approx(
        belief.states[1 << regulator] * family.cause("return_regulator").p_cured_if_cause / 0.98
    )
    assert cured.healthy() > 0.9
    assert failed.healthy() < 0.1
    assert failed.marginals()[regulator] < 0.5 * before[regulator]
    others = [i for i in range(len(before)) if i != regulator]
    assert np.all(failed.marginals()[others] > before[others])
    assert open_.marginals()[others] == pytest.approx(before[others])


def test_the_chance_that_a_repair_cures_is_the_packs():
    # P(gone | this was the only cause, repaired) is the pack's p_cured_if_cause, up to the
    # chance that a failed repair goes away by itself.
    cause = KNOWLEDGE.cause("ct_shared")
    family = KNOWLEDGE.families["cool_unstable"]
    belief = believe("cool_unstable")
    only = 1 << belief.causes.index("ct_shared")
    alone = belief.reweighted(np.eye(1, len(belief.states), only)[0])
    states = alone.after_repair("ct_shared", None).states
    gone = states[0] * 0.98 + (1.0 - states[0]) * cause.p_cured_if_not
    assert gone == pytest.approx(cause.p_cured_if_cause, abs=0.011)
    assert family.cause("ct_shared") is cause


def test_what_was_seen_before_a_repair_speaks_of_the_old_part():
    family = KNOWLEDGE.families["fuel_low"]
    before = Stage(tests=(TestResult("f_return", "positive"), TestResult("f_dp", "negative")))
    after = Stage(
        work=Work("return_regulator"),
        tests=(TestResult("f_return", "negative"), TestResult("f_dp", "positive")),
        outcomes=(Outcome(False),),
    )
    belief = family_belief(
        family, StagedEvidence((), (before, after)), conditions=KNOWLEDGE.conditions
    )
    chance = dict(zip(belief.causes, belief.marginals(), strict=True))
    # the relief valve is found weak together with the regulator; of the others the filter leads
    del chance["pump_relief"]
    assert max(chance, key=chance.get) == "secondary_filter"
    assert chance["return_regulator"] < 0.05
    mixed_up = believe("fuel_low", [("f_return", "negative"), ("f_dp", "positive")])
    assert belief.states != pytest.approx(mixed_up.states, abs=1e-3)


def test_after_one_of_two_that_are_found_together_did_not_cure_the_other_leads():
    family = KNOWLEDGE.families["fuel_low"]
    before = Stage(tests=(TestResult("f_return", "positive"),))
    after = Stage(work=Work("return_regulator"), outcomes=(Outcome(False),))
    belief = family_belief(
        family, StagedEvidence((), (before, after)), conditions=KNOWLEDGE.conditions
    )
    chance = dict(zip(belief.causes, belief.marginals(), strict=True))
    assert max(chance, key=chance.get) == "pump_relief"


@pytest.mark.parametrize("second", ["positive", "negative"])
def test_the_same_test_again_on_untouched_parts_mostly_repeats_itself(second):
    # Every pair (state before, state after the work) by hand: where the work changed nothing the
    # test shows the same again unless it was misread then, and else tells anew; where it changed
    # something, anew. It may be misread now too.
    family = KNOWLEDGE.families["overheat"]
    model = FamilyModel(family, KNOWLEDGE.conditions)
    first = Stage(tests=(TestResult("o_gas", "positive"), TestResult("o_mix", "negative")))
    again = Stage(
        work=Work("oh_fan"), tests=(TestResult("o_gas", second),), outcomes=(Outcome(False),)
    )
    belief = family_belief(family, StagedEvidence((), (first, again)), model=model)
    before = family_belief(family, StagedEvidence((), (first,)), model=model).states
    fan = 1 << belief.causes.index("oh_fan")
    cause = KNOWLEDGE.cause("oh_fan")
    failed = 1.0 - cause.p_cured_if_cause / 0.98
    trust = told(model.known(family.test("o_gas")), second)
    gas, wrong = trust @ model.chances(family.test("o_gas")), mistake_of(family.test("o_gas"))
    expected = np.zeros_like(before)
    for state, weight in enumerate(before):
        if state < before.size - 1 and state & fan:
            for after, share in ((state, failed), (state & ~fan, 1.0 - failed)):
                expected[after] += weight * share * gas[after]
        else:
            expected[state] += weight * ((1.0 - wrong) * trust[0] + wrong * gas[state])
    expected[1:] *= 1.0 - cause.p_cured_if_not
    expected[0] *= 0.02
    np.testing.assert_allclose(belief.states, expected / expected.sum(), rtol=0.0, atol=1e-12)


def test_a_result_seen_again_after_other_work_is_not_counted_twice():
    once = Stage(tests=(TestResult("o_gas", "positive"),))
    other = Stage(work=Work("oh_low"), outcomes=(Outcome(False),))
    repeated = replace(other, tests=(TestResult("o_gas", "positive"),))
    family = KNOWLEDGE.families["overheat"]
    chances = [
        family_belief(family, StagedEvidence((), (once, *stages)), conditions=KNOWLEDGE.conditions)
        for stages in ((other,), (repeated,), (other, other), (repeated, repeated))
    ]
    gas = chances[0].causes.index("oh_gas")
    one, two, heard, thrice = (b.marginals()[gas] for b in chances)
    assert one < two < one + 0.05
    assert heard < thrice < heard + 0.08


def test_the_shops_own_proven_closings_move_the_shares():
    closings = tuple(
        Closing(f"c{i}", "fuel_low", ("return_regulator",), True, days_ago=10.0) for i in range(20)
    )
    silent = tuple(
        Closing(f"d{i}", "fuel_low", ("pump_worn",), False, days_ago=10.0) for i in range(50)
    )
    taught = believe("fuel_low", history=History(closings=closings))
    plain = believe("fuel_low")
    regulator = plain.causes.index("return_regulator")
    # (20 * share + 20) / (20 + 20), a little less for their age.
    expected = (20 * KNOWLEDGE.cause("return_regulator").prior + 20) / 40
    assert taught.share["return_regulator"] == pytest.approx(expected, abs=0.005)
    assert taught.marginals()[regulator] > 0.5 > plain.marginals()[regulator]
    untaught = believe("fuel_low", history=History(closings=silent))
    np.testing.assert_allclose(untaught.states, plain.states, rtol=1e-6, atol=1e-12)


def test_a_sampled_likelihood_that_rests_on_few_draws_says_less():
    groups = (("pump_relief",), ("return_regulator",))
    rated = {frozenset(): -9.0, frozenset({0}): 0.0, frozenset({1}): -4.0}
    joint = JointSupport("fuel_low", groups, rated)
    model = ReadingsModel(chi_square=1.0, chi_square_limit=9.0, adaptive=False)
    chances = [
        believe(
            "fuel_low", findings=[finding(joint=joint, details=replace(model, effective_samples=n))]
        )
        for n in (3, 100, 10_000)
    ]
    relief = chances[0].causes.index("pump_relief")
    few, some, many = (b.marginals()[relief] for b in chances)
    exact = believe("fuel_low", findings=[finding(joint=joint)]).marginals()[relief]
    assert few < some < many < exact
    assert many == pytest.approx(exact, abs=2e-3)
    assert few > believe("fuel_low").marginals()[relief]


def better(family, tests, cause, *, partly):
    word = Outcome(False, "", partly)
    stages = (
        Stage(tests=tuple(TestResult(*t) for t in tests)),
        Stage(work=Work(cause), outcomes=(word,)),
    )
    return family_belief(
        KNOWLEDGE.families[family], StagedEvidence(stages=stages), conditions=KNOWLEDGE.conditions
    )


@pytest.mark.parametrize(
    ("family", "tests", "cause"),
    [
        ("vib_load", (("v_damp_vis", "positive"), ("v_mount", "positive")), "damper_aged"),
        ("overheat", (("o_rad_dt", "positive"),), "oh_rad_int"),
    ],
)
def test_better_but_not_gone_says_that_something_was_cured_and_something_is_left(
    family, tests, cause
):
    believed = better(family, tests, cause, partly=True)
    plain = better(family, tests, cause, partly=False)
    before = believed.before
    assert before is not None
    number = believed.model.number[cause]

    def both_at_first(word):
        # Counted set by set: the cause was there with others, the repair took it and left them.
        found, every = 0.0, 0.0
        failed = before.failed_repair(cause)
        for state, chance in enumerate(before.states):
            there = state < len(before.states) - 1 and bool(state >> number & 1)
            left = state & ~(1 << number)
            if there:
                cured = chance * (1.0 - failed) * word("cured" if left else "healthy")
                stuck = chance * failed * word("failed")
                every += cured + stuck
                found += cured if left else 0.0
            else:
                every += chance * word("chance")
        return found / every

    partly = {"cured": 0.6, "healthy": 0.005, "failed": 0.15, "chance": 0.06}
    miss = before.model.family.cause(cause).p_cured_if_not
    not_gone = {"cured": 1.0 - miss, "healthy": 0.02, "failed": 1.0 - miss, "chance": 1.0 - miss}
    two, one = both_at_first(partly.__getitem__), both_at_first(not_gone.__getitem__)
    assert two / (1.0 - two) > 4.0 * one / (1.0 - one)
    assert believed.one_cured() == pytest.approx(two)
    assert plain.one_cured() == 0.0
    # The likeliest companion is what is left; that hardly changes, who else was there does.
    pairs = before.model.present[number] * before.states
    with_it = before.model.present @ pairs
    with_it[number] = 0.0
    mate = int(np.argmax(with_it))
    assert believed.marginals()[mate] > 0.9 * plain.marginals()[mate]


def test_two_repairs_without_a_word_between_may_both_have_made_it_better():
    tests = (("v_damp_vis", "positive"), ("v_mount", "positive"))
    word = Outcome(False, "", True)
    stages = (
        Stage(tests=tuple(TestResult(*t) for t in tests)),
        Stage(work=Work("damper_aged")),
        Stage(work=Work("contact"), outcomes=(word,)),
    )
    family = KNOWLEDGE.families["vib_load"]
    late = family_belief(family, StagedEvidence(stages=stages), conditions=KNOWLEDGE.conditions)
    heard = (stages[0], replace(stages[1], outcomes=(Outcome(False),)), stages[2])
    told = family_belief(family, StagedEvidence(stages=heard), conditions=KNOWLEDGE.conditions)
    # With "not gone" said in between, what got better is down to the second repair.
    assert late.one_cured() > 3.0 * told.one_cured()
