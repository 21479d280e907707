"""The band beside a probability, held to drawing every judged figure anew and counting again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from witnessmark.inference.family.doubt import doubt_of, moved_row
from witnessmark.inference.family.family_belief import (
    GONE_IF_HEALTHY,
    FamilyModel,
    family_belief,
)
from witnessmark.inference.family.likelihood import JUDGED_LOG_SD
from witnessmark.inference.family.misreading import told
from witnessmark.inference.family.prior import clue_factor
from witnessmark.inference.family.staged_evidence import (
    Clue,
    Outcome,
    Stage,
    StagedEvidence,
    TestResult,
    Work,
)
from witnessmark.inference.odds.case_odds import odds_for
from witnessmark.knowledge import load_knowledge
from witnessmark.model.shop_record import Closing, History

KNOWLEDGE = load_knowledge()
DRAWS = 300


def stage(*tests, work=None, gone=None):
    return Stage(
        Work(work) if work else None,
        tuple(TestResult(*t) for t in tests),
        (),
        () if gone is None else (Outcome(gone),),
    )


class Drawn(FamilyModel):
    """A family whose shares and tables are one draw of what they may be."""

    def __init__(self, family, rng):
        tests = {t.id: drawn(t, rng) for t in family.tests}
        super().__init__(family, KNOWLEDGE.conditions, tests=tests)
        self.__dict__["share"] = {
            c.id: c.prior * float(np.exp(JUDGED_LOG_SD * rng.standard_normal()))
            for c in family.causes
        }


def drawn(test, rng):
    """Scatter the log odds of every figure; a figure given for many causes is one figure."""

    def row(p):
        if len(p) == 2:
            return moved_row(p, 0, JUDGED_LOG_SD * rng.standard_normal())
        odds = np.array(p) / (1.0 - np.array(p))
        odds *= np.exp(JUDGED_LOG_SD * rng.standard_normal(len(p)))
        scattered = odds / (1.0 + odds)
        return tuple(float(x) for x in scattered / scattered.sum())

    base = row(test.base)
    rows = {c: base if r == test.base else row(r) for c, r in test.probability.items()}
    return replace(test, base=base, probability=rows)


def brute(family, evidence):
    """Return the 16th and 84th percentile of every cause's probability, and its mean.

    Every draw weighs as much as its figures make the evidence likely.
    """
    rng = np.random.default_rng(20260302)
    chances, weights = [], []
    for _ in range(DRAWS):
        rates = [
            moved_row((p, 1.0 - p), 0, JUDGED_LOG_SD * rng.standard_normal())[0]
            for p in (family.second_cause, family.none_listed)
        ]
        other = replace(family, second_cause=rates[0], none_listed=rates[1])
        belief = family_belief(
            other, evidence, conditions=KNOWLEDGE.conditions, model=Drawn(other, rng)
        )
        chances.append(belief.marginals())
        weight = 1.0
        while True:
            weight *= unscaled(belief)
            if belief.before is None:
                break
            belief = belief.before
        weights.append(weight)
    p, w = np.array(chances), np.array(weights) / np.sum(weights)
    ends = []
    for share in (0.1, 0.9):
        order = np.argsort(p, axis=0)
        reached = np.cumsum(w[order], axis=0) >= share
        ends.append(np.take_along_axis(p, order, axis=0)[reached.argmax(axis=0), range(p.shape[1])])
    return ends[0], ends[1], w @ p


def unscaled(belief):
    """Return P(what the present stage found | what was believed at its start)."""
    states = belief.start if belief.extra is None else belief.start * belief.extra
    weights = belief.model.weights(belief.said(), belief.halved)
    for identity, (result, _) in belief.results.items():
        test = belief.model.family.test(identity)
        known = belief.model.known(test)
        assert weights[identity] == 1.0  # the cases below have no two tests that see the same
        states = states * (told(known, result) @ belief.model.chances(test))
    return float(states.sum())


CASES = {
    "two findings, undecided": (
        "overheat",
        (stage(("o_rad_dt", "positive"), ("o_gas", "negative")),),
    ),
    "one cause likely": (
        "fuel_low",
        (stage(("f_dp", "negative"), ("f_sight", "negative"), ("f_relief", "positive")),),
    ),
    "an outcome of several": (
        "oil_press",
        (stage(("g_mech", "negative"), ("g_pan", "pump_clearance")),),
    ),
    "carried through a repair that did not cure": (
        "overheat",
        (
            stage(("o_rad_dt", "positive"), ("o_gas", "negative")),
            stage(("o_fan", "positive"), work="oh_rad_int", gone=False),
        ),
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", CASES)
def test_the_band_is_that_of_drawing_every_judged_figure_anew(name):
    identity, stages = CASES[name]
    family = KNOWLEDGE.families[identity]
    evidence = StagedEvidence(stages=stages)
    belief = family_belief(family, evidence, conditions=KNOWLEDGE.conditions)
    doubt, now = doubt_of(belief), belief.marginals()
    low, high, mean = brute(family, evidence)
    for i in np.argsort(-now)[:3]:
        assert now[i] == pytest.approx(mean[i], abs=0.05)
        assert doubt.low[i] == pytest.approx(low[i], abs=0.07)
        assert doubt.high[i] == pytest.approx(high[i], abs=0.07)


@pytest.mark.parametrize(
    ("identity", "stages", "cause"),
    [
        ("overheat", (stage(("o_rad_dt", "positive"), ("o_gas", "negative")),), "oh_rad_int"),
        ("oil_press", (stage(("g_pan", "pump_clearance")),), "op_pump"),
        (
            "overheat",
            (
                stage(("o_rad_dt", "positive"), ("o_fan", "negative")),
                stage(("o_gas", "positive"), work="oh_rad_int", gone=False),
            ),
            "oh_gas",
        ),
    ],
)
def test_what_a_row_does_is_what_counting_again_with_the_row_moved_does(identity, stages, cause):
    family = KNOWLEDGE.families[identity]
    evidence = StagedEvidence(stages=stages)
    belief = family_belief(family, evidence, conditions=KNOWLEDGE.conditions)
    i = belief.causes.index(cause)
    for test in (family.test(t) for t in evidence.recorded_tests()):
        known = belief.model.known(test)
        figures = range(len(known.outcomes) if len(known.outcomes) > 2 else 1)
        variance = 0.0
        for row in {"", *(c for c in belief.causes if known.row(c) != known.base)}:
            for number in figures:
                sides = []
                for step in (JUDGED_LOG_SD, -JUDGED_LOG_SD):
                    tests = {**belief.model.tests, test.id: moved(known, row, number, step)}
                    model = FamilyModel(family, KNOWLEDGE.conditions, tests=tests)
                    again = family_belief(
                        family, evidence, conditions=KNOWLEDGE.conditions, model=model
                    )
                    p = float(again.marginals()[i])
                    sides.append(np.log(p / (1.0 - p)))
                variance += (0.5 * (sides[0] - sides[1])) ** 2
        # Counting again also takes the sign, and what a wrong reading says, from the moved row.
        assert doubt_of(belief).parts[test.id][i] == pytest.approx(np.sqrt(variance), rel=0.03)


def test_what_a_repair_does_is_what_counting_again_with_its_success_moved_does():
    family = KNOWLEDGE.families["overheat"]
    evidence = StagedEvidence(stages=(
        stage(("o_rad_dt", "positive"), ("o_fan", "negative")),
        stage(("o_gas", "positive"), work="oh_rad_int", gone=False),
    ))  # fmt: skip
    belief = family_belief(family, evidence, conditions=KNOWLEDGE.conditions)
    failed = belief.before.failed_repair("oh_rad_int")
    sides = []
    for step in (JUDGED_LOG_SD, -JUDGED_LOG_SD):
        odds = failed / (1.0 - failed) * np.exp(step)
        cured = GONE_IF_HEALTHY / (1.0 + odds)
        causes = tuple(
            replace(c, p_cured_if_cause=cured) if c.id == "oh_rad_int" else c for c in family.causes
        )
        again = family_belief(
            replace(family, causes=causes), evidence, conditions=KNOWLEDGE.conditions
        )
        p = again.marginals()
        sides.append(np.log(p / (1.0 - p)))
    wanted = 0.5 * np.abs(sides[0] - sides[1])
    found = doubt_of(belief).parts["repair"]
    i = int(np.argmax(wanted))
    assert found[i] == pytest.approx(wanted[i], rel=1e-3)


def moved(test, row, number, step):
    rows = [c for c in test.probability if (c == row if row else test.row(c) == test.base)]
    new = {c: moved_row(test.row(c), number, step) for c in rows}
    base = test.base if row else moved_row(test.base, number, step)
    return replace(test, base=base, probability={**test.probability, **new})


def test_measured_figures_carry_no_doubt_and_own_closings_narrow_it():
    family = KNOWLEDGE.families["overheat"]
    tests = (("o_rad_dt", "positive"), ("o_gas", "negative"))
    evidence = StagedEvidence((Clue("miles_500k"),), (stage(*tests),))

    def width(record, history=None):
        belief = family_belief(record, evidence, history, conditions=KNOWLEDGE.conditions)
        doubt = doubt_of(belief)
        return doubt, doubt.high - doubt.low

    judged, wide = width(family)
    measured = replace(family.source, kind="measured")
    sure = replace(
        family,
        source=measured,
        causes=tuple(replace(c, source=measured) for c in family.causes),
        tests=tuple(replace(t, source=measured) for t in family.tests),
    )
    known, none = width(sure)
    assert set(known.parts) <= {"clue"}
    assert np.all(none < 0.5 * wide + 1e-9)
    closing = Closing(
        case="c", family="overheat", causes=("oh_rad_int",), proven=True, days_ago=1.0,
        results=(("o_rad_dt", "positive"),),
    )  # fmt: skip
    own, narrower = width(family, History((closing,) * 60))
    for kind in ("share", "o_rad_dt"):
        i = belief_number(family, "oh_rad_int")
        assert own.parts[kind][i] < judged.parts[kind][i]
    unproven, _ = width(family, History((replace(closing, proven=False),) * 60))
    assert unproven.parts["share"] == pytest.approx(judged.parts["share"])
    assert narrower.max() < wide.max()


def belief_number(family, cause):
    return [c.id for c in family.causes].index(cause)


def test_a_clue_is_known_to_half_of_its_log():
    family = KNOWLEDGE.families["overheat"]
    cause = next(c for c in family.causes if "topups" in c.odds_multipliers)
    belief = family_belief(
        family, StagedEvidence((Clue("topups"),)), conditions=KNOWLEDGE.conditions
    )
    weight = clue_factor(
        KNOWLEDGE.conditions["topups"], cause.odds_multipliers["topups"], seen=True
    )
    part = doubt_of(belief).parts["clue"][belief_number(family, cause.id)]
    expected = min(0.5 * np.log(weight), JUDGED_LOG_SD)
    assert 0.6 * expected < part <= 1.01 * expected
    plain = family_belief(family, StagedEvidence(), conditions=KNOWLEDGE.conditions)
    assert "clue" not in doubt_of(plain).parts


def test_eighty_per_cent_that_the_doubt_takes_away_decide_nothing_and_say_so():
    family = KNOWLEDGE.families["cool_unstable"]
    found = stage(("c_rate", "positive"), ("c_switch", "positive"))
    odds = odds_for(
        family, {family.id: StagedEvidence((Clue("multi_sensor"),), (found,))}, KNOWLEDGE
    )
    first = odds.causes[0]
    assert first.probability >= 0.80 > first.low
    assert first.low < first.probability < first.high
    assert not odds.decided
    assert odds.statement.startswith(f"Likely: {first.name}.")
    assert first.strength == "likely"
    assert any(
        f"{t.name} decides it (" in odds.statement or f"{t.name} tells most (" in odds.statement
        for t in family.tests
    )


@pytest.mark.parametrize("identity", sorted(KNOWLEDGE.families))
def test_only_what_the_doubt_leaves_at_eighty_per_cent_is_decided(identity):
    family = KNOWLEDGE.families[identity]
    for test in family.tests[::2]:
        evidence = StagedEvidence(stages=(stage((test.id, test.outcomes[0])),))
        odds = odds_for(family, {identity: evidence}, KNOWLEDGE)
        assert all(0.0 <= c.low <= c.probability <= c.high <= 1.0 for c in odds.causes)
        assert odds.decided <= (odds.causes[0].low >= 0.80)
