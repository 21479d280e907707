"""The fuel posterior against brute force: many plain draws, nothing clever.

Low and healthy fuel pressures here: common practice, no source.
"""

import itertools

import numpy as np
import pytest
from scipy.special import logsumexp, ndtr
from scipy.stats import chi2, multivariate_normal

from witnessmark.inference.fuel.draws import fuel_posterior
from witnessmark.inference.fuel.draws.fuel_likelihood import SHAPES, log_likelihood
from witnessmark.inference.fuel.draws.fuel_posterior import default_log_prior, infer
from witnessmark.inference.fuel.draws.fuel_prior import DIMENSIONS
from witnessmark.inference.fuel.draws.fuel_proposals import cuts_of
from witnessmark.inference.fuel.draws.fuel_samples import STEP_DIMENSIONS, Repair, simulate
from witnessmark.inference.fuel.draws.fuel_types import table_for
from witnessmark.inference.fuel.draws.normal_law import chi_square_quantile, share_below
from witnessmark.inference.fuel.fuel_groups import (
    AIR,
    FAMILY,
    FILTER,
    GAUGE,
    GROUPS,
    HUMILITY,
    HYPOTHESES,
    PUMP,
    RELIEF,
    RETURN,
    TOGETHER,
    group_of,
)
from witnessmark.inference.fuel.fuel_observations import (
    CHECK,
    FLOW,
    GALLERY,
    INHG,
    PREFILTER,
    THROTTLED,
    VACUUM,
    Key,
    Observation,
    covariance,
    shape_error,
)
from witnessmark.knowledge import load_knowledge
from witnessmark.physics.fuel.supply_circuit import L_PER_H, PSI

UNIT = {FLOW: L_PER_H, VACUUM: INHG}


def read(quantity: str, rpm: float, value: float, load: float = 0.0, stage: int = 0) -> Observation:
    key = Key(rpm, load, quantity == THROTTLED)
    return Observation(quantity, key, value * UNIT.get(quantity, PSI), stage=stage)


TWO = (read(GALLERY, 650, 65), read(GALLERY, 1400, 78))
KIT = (*TWO, read(FLOW, 650, 85), read(FLOW, 1400, 118), read(PREFILTER, 1400, 79.5),
       read(THROTTLED, 650, 75), read(CHECK, 650, 0.5))  # fmt: skip


@pytest.fixture(scope="module")
def table():
    return table_for(None)


def brute(table, hypothesis: int, observations, repairs=(), n: int = 60000, seed: int = 0) -> float:
    """Return log P(readings | hypothesis) by plain draws from the prior."""
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((n, DIMENSIONS + STEP_DIMENSIONS * len(repairs)))
    batch = simulate(table, np.full(n, hypothesis), z, observations, repairs)
    return float(logsumexp(log_likelihood(batch.predictions, observations)) - np.log(n))


@pytest.mark.parametrize("groups", [{RELIEF}, {RETURN}, {PUMP}, {RELIEF, RETURN}, {FILTER, AIR}])
def test_table_agrees_with_plain_draws(table, groups):
    h = HYPOTHESES.index(frozenset(groups))
    assert infer(table, TWO).log_evidence[h] == pytest.approx(brute(table, h, TWO), abs=0.15)


@pytest.mark.parametrize("groups", [{RELIEF}, {RETURN}, {GAUGE}, {RELIEF, RETURN}])
def test_adaptive_step_agrees_with_plain_draws(table, groups, monkeypatch):
    monkeypatch.setattr(fuel_posterior, "ENOUGH", 1e9)  # forces it
    h = HYPOTHESES.index(frozenset(groups))
    found = infer(table, TWO)
    assert found.adapted
    assert found.log_evidence[h] == pytest.approx(brute(table, h, TWO), abs=0.15)


def test_adaptive_step_runs_when_few_draws_count_and_seeds_agree(table):
    plain = infer(table, KIT, adapt=False)
    assert plain.effective < fuel_posterior.ENOUGH
    one, two = infer(table, KIT, seed=1), infer(table, KIT, seed=2)
    assert one.adapted
    assert one.effective > 2 * plain.effective
    assert np.max(np.abs(one.group_probabilities() - two.group_probabilities())) < 0.06


def test_before_and_after_agree_with_plain_draws(table):
    """Shared gauge, shared unit, a fresh part: the whole joint likelihood of two stages."""
    seen = (*TWO, read(GALLERY, 650, 70, stage=1), read(GALLERY, 1400, 80, stage=1))
    work = (Repair(RETURN, 1.0, 1),)
    found = infer(table, seen, repairs=work)
    missed = []
    for groups in ({RELIEF, RETURN}, {RELIEF}, {FILTER}, {PUMP}, {GAUGE}):
        h = HYPOTHESES.index(frozenset(groups))
        wanted = brute(table, h, seen, work, n=80000)
        missed.append(found.log_evidence[h] - wanted)
    assert np.abs(missed) == pytest.approx(0.0, abs=0.3)
    # and not on one side: draws that shape the proposals are not counted beside them
    assert np.mean(missed) == pytest.approx(0.0, abs=0.12)


def test_gauge_error_is_integrated_out_exactly():
    """Closed form against a sum over the gauge's constant error, at each size of the shape's."""
    seen = (read(GALLERY, 650, 65), read(GALLERY, 1400, 78), read(CHECK, 650, 2.0))
    truth = np.array([[70 * PSI, 80 * PSI, 0.0]])
    sd = seen[0].gauge_sd
    grid = np.linspace(-7, 7, 4001) * sd
    weight = np.exp(-0.5 * (grid / sd) ** 2)
    weight /= weight.sum()
    value = np.array([o.value for o in seen])
    both = 0.0
    for factor, share in SHAPES:
        # constant error of one gauge: the same number in every cell
        without = covariance(seen, factor) - sd**2
        density = multivariate_normal(np.zeros(3), without)
        both += share * (weight @ density.pdf(value - truth[0] - grid[:, None]))
    wanted = np.log(both)
    assert log_likelihood(truth, seen)[0] == pytest.approx(wanted, abs=1e-6)


def test_readings_of_two_gauges_do_not_share_their_error():
    a = read(GALLERY, 650, 65)
    b = Observation(GALLERY, Key(1400.0), 78 * PSI, gauge="other", main=False)
    shape = shape_error((a, b))[0, 1]
    assert covariance((a, b))[0, 1] == pytest.approx(shape, rel=1e-9)
    assert covariance((a, read(GALLERY, 1400, 78)))[0, 1] > shape + a.gauge_sd**2


def test_covariance_holds_for_any_crowd_of_points():
    """600 is near 650 and 650 near 700, but 600 is not near 700: it must stay a covariance."""
    crowd = tuple(read(GALLERY, rpm, 70, load, stage)
                  for rpm in (600, 650, 655, 700, 740, 1400, 1450) for load in (0.0, 0.1, 1.0)
                  for stage in (0, 1))  # fmt: skip
    crowd += (read(CHECK, 650, 1), read(THROTTLED, 650, 90), read(FLOW, 650, 0), read(FLOW, 700, 3))
    values = np.linalg.eigvalsh(covariance(crowd) / PSI**2)
    assert np.all(np.linalg.eigvalsh(covariance(crowd[:-2]) / PSI**2) > 0)
    assert values.min() > -1e-9


def test_stage_likelihoods_add_up_and_name_the_sets_of_that_stage(table):
    seen = (*TWO, read(GALLERY, 650, 75, stage=1), read(GALLERY, 1400, 93, stage=1))
    found = infer(table, seen, repairs=(Repair(RELIEF, 1.0, 1),))
    first, second = found.set_log_likelihoods(0), found.set_log_likelihoods(1)
    assert max(first, key=first.get) != frozenset()
    assert first[frozenset()] < first[frozenset({RELIEF})] - 2
    # after the relief valve was renewed and the pressures came back, "nothing" explains best
    singles = {k: v for k, v in second.items() if len(k) == 1}
    assert second[frozenset()] > max(singles.values())
    assert found.healthy() > 0.8
    assert found.group_probabilities(0)[RELIEF] > 0.9
    assert found.group_probabilities(1)[RELIEF] < 0.1


def test_a_new_part_may_itself_be_wrong(table):
    """Renewed, and not a psi gained: another cause, or the new part; the old one is gone."""
    seen = (*TWO, read(GALLERY, 650, 65, stage=1), read(GALLERY, 1400, 78, stage=1))
    found = infer(table, seen, repairs=(Repair(RELIEF, 1.0, 1),))
    now = found.group_probabilities()
    assert 0.0 < now[RELIEF] < 0.25
    assert now[RELIEF] < found.group_probabilities(0)[RELIEF] + 0.05
    assert found.healthy() < 0.05


def test_no_reading_leaves_the_prior(table):
    found = infer(table, ())
    prior = np.exp(default_log_prior())
    wanted = [sum(p for p, h in zip(prior, HYPOTHESES, strict=True) if g in h) for g in range(9)]
    assert found.group_probabilities() == pytest.approx(wanted, abs=1e-9)


def test_none_fits_for_a_curve_no_circuit_has(table):
    odd = (read(GALLERY, 650, 90), read(GALLERY, 1400, 45), read(GALLERY, 1800, 92))
    assert not infer(table, odd).fits
    assert infer(table, TWO).fits
    assert infer(table, KIT).fits


@pytest.mark.parametrize(
    ("seen", "first"),
    [
        # a weak regulator: idle down, return strong, throttled comes up (FUEL.md section 2)
        ((read(GALLERY, 650, 55), read(GALLERY, 1400, 90), read(FLOW, 650, 116),
          read(FLOW, 1400, 172), read(THROTTLED, 650, 96), read(CHECK, 650, 0)), RETURN),
        ((read(GALLERY, 650, 65), read(GALLERY, 1400, 77), read(FLOW, 650, 85),
          read(FLOW, 1400, 118), read(THROTTLED, 650, 75), read(PREFILTER, 1400, 78.5),
          read(CHECK, 650, 0)), RELIEF),
        ((read(GALLERY, 650, 64), read(GALLERY, 1400, 70), read(PREFILTER, 1400, 100)), FILTER),
        ((read(GALLERY, 650, 68), read(GALLERY, 1400, 86), read(CHECK, 650, -7)), GAUGE),
        ((read(GALLERY, 650, 73), read(GALLERY, 1400, 91), read(VACUUM, 1400, 22)), 4),
    ],
)  # fmt: skip
def test_telling_readings_name_their_part(table, seen, first):
    chance = infer(table, seen).group_probabilities()
    assert int(np.argmax(chance)) == first, {g.key: p for g, p in zip(GROUPS, chance, strict=True)}
    assert chance[first] > 0.6


def test_same_input_same_answer(table):
    assert np.array_equal(infer(table, KIT).weight, infer(table, KIT).weight)


def test_a_part_is_not_lost_where_many_sharp_readings_left_its_first_draws_far_off(table):
    """All of the table's draws of a widely held relief valve miss these thirteen readings.

    The readings are those of domain/DOMAIN.md scenario D1 (computed there with a leak past the
    relief valve of 0.19 of the delivery, rounded). Looked at again, that valve explains them as
    well as any other part; ten times the draws say the same.
    """
    gallery = [(700, 50, 0.0), (1000, 65, 0.0), (1500, 76, 0.0), (1800, 82, 0.0), (1500, 72, 1.0)]
    gpm = 227.125  # l/h in a US gallon a minute, NIST SP 811
    many = (
        *(read(GALLERY, rpm, psi, load) for rpm, psi, load in gallery),
        *(read(FLOW, rpm, q * gpm, load) for rpm, q, load in
          [(700, 0.05, 0.0), (1500, 1.3, 0.0), (1500, 1.0, 1.0)]),
        *(read(VACUUM, rpm, v) for rpm, v in [(700, 1), (1500, 2), (1800, 3)]),
        read(PREFILTER, 1500, 77),
        read(THROTTLED, 700, 51),
    )  # fmt: skip
    first = infer(table, many, adapt=False).group_probabilities()
    assert first[RELIEF] < 0.3, "the table alone loses it"
    # a pump that sends less explains them as well, and readings cannot part the two
    for seed in (11, 12, 13):
        found = infer(table, many, seed=seed)
        assert found.effective >= 350
        assert found.group_probabilities()[RELIEF] == pytest.approx(0.44, abs=0.06)
        assert found.group_probabilities()[[RELIEF, PUMP]].sum() > 0.95


def test_judged_shares_are_drawn_towards_equal_and_keep_their_order():
    judged, shares = ([getattr(g, k) for g in GROUPS] for k in ("judged", "share"))
    assert sum(shares) == pytest.approx(sum(judged))
    parts = range(GAUGE)
    for a, b in itertools.combinations(parts, 2):
        apart = (judged[a] - judged[b]) * (1 - HUMILITY)
        assert shares[a] - shares[b] == pytest.approx(apart)
    assert shares[RELIEF] > 1.3 * shares[PUMP], "the pump may not come near the relief valve"
    assert shares[GAUGE:] == judged[GAUGE:]


def test_the_pack_carries_the_shares_of_the_model():
    prior = {c.id: c.prior for c in load_knowledge().families[FAMILY].causes}
    total = sum(g.share for g in GROUPS)
    for group in GROUPS:
        in_pack = sum(prior[c] for c in group.causes)
        assert in_pack == pytest.approx(group.share / total, abs=0.002), group.key


def test_the_pack_carries_the_pairs_of_the_model():
    pairs = load_knowledge().families[FAMILY].together
    assert {frozenset(group_of(c) for c in p.causes): p.odds for p in pairs} == TOGETHER


def test_the_quick_normal_and_chi_square_laws_are_scipys():
    x = np.concatenate([np.linspace(-12.0, 12.0, 20001), [-np.inf, np.inf]])
    np.testing.assert_allclose(share_below(x), ndtr(x), rtol=0.0, atol=1e-10)
    for count in (1, 2, 3, 8, 31, 120):
        for share in (0.9, 0.995):
            assert chi_square_quantile(count, share) == pytest.approx(
                chi2.ppf(share, count), rel=1e-9
            )


@pytest.mark.parametrize("share", [1.0, 0.6, 0.0])
def test_the_pieces_of_a_cut_are_all_of_the_prior(share):
    """A proposal is the prior inside a piece: the pieces' shares are chances, and all of them."""
    for h in range(len(HYPOTHESES)):
        for cut in cuts_of(h, (0.5, 0.3, 0.2), (Repair(0, share), Repair(3, share, 2))):
            assert cut.shares.sum() == pytest.approx(1.0, abs=1e-12)
            assert np.diff(ndtr(cut.edges)) == pytest.approx(cut.shares, abs=1e-12)
