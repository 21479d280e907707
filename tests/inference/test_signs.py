"""What several tests and clues see in common is one sign: nothing counts twice, nothing is lost."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from witnessmark.inference.family.clue_hints import true_with
from witnessmark.inference.family.family_belief import family_belief
from witnessmark.inference.family.family_model import FamilyModel
from witnessmark.inference.family.likelihood import as_known
from witnessmark.inference.family.misreading import told
from witnessmark.inference.family.signs import signs_of
from witnessmark.inference.family.staged_evidence import Clue, Stage, StagedEvidence, TestResult
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.rules import Report, Sign

KNOWLEDGE = load_knowledge()
FAMILIES = sorted(KNOWLEDGE.families)
#: A cause whose chance of a find without the sign is higher by more than this has a way of its own
#: to the test, and is not held to the property; what is below it may turn a ratio by as much.
OWN_WAY = 0.02


def model(name):
    return FamilyModel(KNOWLEDGE.families[name], KNOWLEDGE.conditions)


def believe(family, tests=(), clues=(), **more):
    stage = Stage(tests=tuple(TestResult(*t) for t in tests))
    clues = tuple(Clue(*c) if isinstance(c, tuple) else Clue(c) for c in clues)
    evidence = StagedEvidence(clues, (stage,))
    return family_belief(family, evidence, conditions=KNOWLEDGE.conditions, **more)


def alone(chances):
    """P(outcome | each cause alone) as the branches of a reporter have it, (n, outcomes)."""
    levels = np.vstack([chances.leak[:, None] * chances.factor, np.zeros(chances.factor.shape[1])])
    return (levels[:-1] - levels[1:]).T


def test_every_family_has_signs_where_its_pack_calls_tests_dependent():
    for name in FAMILIES:
        made = model(name)
        held = [t for s in made.signs for t in s.reporters]
        assert len(held) == len(set(held))
        assert all(len(s.reporters) >= 2 for s in made.signs)
        assert bool(made.signs) <= bool(made.family.dependent_tests)
    assert sum(len(model(name).signs) for name in FAMILIES) > 100


@pytest.mark.parametrize("name", FAMILIES)
def test_a_sign_and_its_reporters_give_back_every_table_for_each_cause_alone(name):
    made = model(name)
    for sign in made.signs:
        for identity, reporter in sign.reporters.items():
            known = made.known(made.family.test(identity))
            share = sign.given[:, None]
            rows = (1.0 - share) * alone(reporter.absent) + share * alone(reporter.shown)
            expected = [known.row(c) for c in made.causes]
            assert rows == pytest.approx(np.asarray(expected), abs=1e-12)
            base = (1.0 - sign.base) * reporter.absent.base + sign.base * reporter.shown.base
            assert base == pytest.approx(np.asarray(known.base), abs=1e-12)


def of_a_sign(sign, known):
    """Yield (test, (absent, shown) of every cause for "found" and "not found", as written)."""
    for identity, reporter in sign.reporters.items():
        test = known[identity]
        for result in ("positive", "negative"):
            weights = told(test, result)
            yield (
                identity,
                result,
                alone(reporter.absent) @ weights,
                alone(reporter.shown) @ weights,
            )


def test_a_confirming_result_never_lowers_the_cause_that_shows_the_sign_most():
    """Over all packs, every two reports of one sign in both orders, whatever the first said.

    Against each cause that shows it less, both reaching both tests by the sign alone. One with a
    way of its own to a test may well gain where the sign was denied.
    """
    pairs = 0
    for name in FAMILIES:
        made = model(name)
        for sign in made.signs:
            first = int(np.argmax(sign.given))
            reports = list(of_a_sign(sign, made.tests))
            for before, now in permutations(reports, 2):
                if before[0] == now[0]:
                    continue
                likely = [
                    (1.0 - sign.given) * a + sign.given * s
                    for a, s in (before[2:], (before[2] * now[2], before[3] * now[3]))
                ]
                ratio = likely[1] / likely[0]
                by_sign = np.ones(len(sign.given), dtype=bool)
                for test in (before[0], now[0]):
                    for branch in (sign.reporters[test].absent, sign.reporters[test].shown):
                        found = 1.0 - alone(branch)[:, -1]
                        by_sign &= found <= found.min() + OWN_WAY
                if not by_sign[first]:
                    continue
                gains = np.log(ratio[by_sign] / ratio[first])
                if now[1] == "negative":
                    gains = -gains
                assert gains.max() <= OWN_WAY, (name, before[:2], now[:2])
                pairs += int(by_sign.sum()) - 1
    assert pairs > 2000


def test_a_second_report_says_less_than_it_would_alone():
    family = KNOWLEDGE.families["low_power"]
    number = [c.id for c in family.causes].index("lp_comp")

    def odds(*tests):
        p = float(believe(family, [(t, "positive") for t in tests]).marginals()[number])
        return np.log(p / (1.0 - p))

    both, none = odds("p_leakd", "p_relcomp"), odds()
    first, second = odds("p_leakd") - none, odds("p_relcomp") - none
    assert first < both - none < first + 0.5 * second


def test_what_a_test_is_expected_to_show_follows_what_was_reported():
    family = KNOWLEDGE.families["low_power"]
    test = family.test("p_relcomp")
    before = believe(family)
    after = believe(family, [("p_leakd", "positive")])
    number = 1 << before.causes.index("lp_fuel")
    # Of a truck whose fault is known to lie elsewhere: the rings are worn all the same.
    chance = [float(b.chances_at(test, np.asarray([number]))[0, 0]) for b in (before, after)]
    assert chance[1] > 3.0 * chance[0]
    for belief in (before, after):
        total, given = belief.all_results([test])[0]
        assert total == pytest.approx(belief.chances(test) @ belief.states, abs=1e-12)
        assert total @ given == pytest.approx(belief.marginals(), abs=1e-12)


@pytest.mark.parametrize(
    ("name", "clue", "test"),
    [("crankcase", "oil_rising", "b_oil"), ("air_supply", "as_trailer_only", "a_split"),
     ("wheel_end", "we_hot_hub", "w_temp")],
)  # fmt: skip
def test_a_clue_and_a_test_that_see_the_same_are_neither_dropped_nor_counted_twice(
    name, clue, test
):
    family = KNOWLEDGE.families[name]
    result = family.test(test).outcomes[0]
    plain, said = believe(family), believe(family, clues=[clue])
    asked = family.test(test)
    total, given = said.all_results([asked])[0]
    assert total.sum() == pytest.approx(1.0, abs=1e-9)
    assert total @ given == pytest.approx(said.marginals(), abs=1e-9)
    after = believe(family, [(test, result)], [clue])
    assert given[0] == pytest.approx(after.marginals(), abs=1e-9)
    # Heard and seen: the seeing was half expected, and a word that nobody doubts is not dropped.
    alone_seen = believe(family, [(test, result)])
    assert total[0] > plain.outcome_probabilities(asked)[0]
    assert not np.allclose(after.marginals(), alone_seen.marginals(), atol=1e-3)
    best = int(np.argmax(alone_seen.marginals() - plain.marginals()))
    gain = [np.log(b.marginals()[best]) for b in (plain, said, alone_seen, after)]
    assert gain[3] - gain[1] < gain[2] - gain[0] + 1e-9


def test_how_often_a_clue_is_true_with_an_outcome_follows_its_weights():
    family = KNOWLEDGE.families["overheat"]
    test = as_known(family.test("o_gas"))
    causes = [c.id for c in family.causes]
    flat = true_with(test, causes, {}, 0.2)
    assert flat == pytest.approx(np.full(2, 0.2))
    fan = max(causes, key=lambda c: test.row(c)[0])
    up, down = (true_with(test, causes, {fan: w}, 0.2) for w in (4.0, 0.1))
    assert up[0] > up[1]
    assert down[0] < down[1]


def test_a_pack_names_a_sign_with_its_own_figures():
    family = KNOWLEDGE.families["overheat"]
    source = family.source
    given = {"oh_fan": 0.9}
    reports = (
        Report("o_rad_dt", "", ("positive",), 0.95, 0.02),
        Report("o_gas", "", ("positive",), 0.8, 0.05),
        Report("", "fan_on", (), 0.7, 0.1),
    )
    own = replace(
        family, signs=(Sign("slips", "the fan slips", 0.1, given, reports, source),),
        dependent_tests=(),
    )  # fmt: skip
    tests = {t.id: as_known(t) for t in own.tests}
    (sign,) = signs_of(own, tests)
    assert sign.id == "slips"
    assert set(sign.reporters) == {"o_rad_dt", "o_gas"}
    fan = [c.id for c in own.causes].index("oh_fan")
    assert sign.given[fan] == 0.9
    assert sign.given[fan - 1] == sign.base == 0.1
    assert sign.reporters["o_rad_dt"].shown.base == pytest.approx([0.95, 0.05])
    assert sign.reporters["o_gas"].absent.base[0] >= 0.05
    assert FamilyModel(own, KNOWLEDGE.conditions).clue_ratios([Clue("fan_on")]) == {
        "slips": pytest.approx(7.0)
    }
    believed = believe(own, [("o_rad_dt", "positive")])
    number = believed.causes.index("oh_fan")
    assert believed.marginals()[number] > believe(own).marginals()[number]
