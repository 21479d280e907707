"""Exactness of the noisy-OR sums: against enumeration in exact fractions, and pyAgrum."""

from __future__ import annotations

import itertools
import warnings
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from witnessmark.inference.networks.noisy_or import NoisyOr
from witnessmark.inference.networks.noisy_or_order import order_of

with warnings.catch_warnings():  # its extension module warns while it loads
    warnings.simplefilter("ignore")
    import pyagrum


def network(rng, causes, findings, least=0, most=5, tiny=0.005):
    prior = rng.uniform(tiny, 0.3, causes)
    leak = rng.uniform(0.0005, 0.05, findings)
    link = np.zeros((causes, findings))
    for f in range(findings):
        count = int(rng.integers(least, min(most, causes) + 1))
        link[rng.choice(causes, count, replace=False), f] = rng.uniform(0.2, 0.98, count)
    return NoisyOr(prior, leak, link)


def enumerated(net, seen, not_seen, soft=None):
    """The definition, in fractions: no rounding at all before the end."""
    n = net.prior.size
    prior = [Fraction(float(p)) for p in net.prior]
    missed = {}
    soft = {f: (Fraction(a), Fraction(b)) for f, (a, b) in (soft or {}).items()}
    for f in (*seen, *not_seen, *soft):
        missed[f] = 1 - Fraction(float(net.leak[f]))
    total, marginals, none, several = Fraction(0), [Fraction(0)] * n, Fraction(0), Fraction(0)
    for states in itertools.product((0, 1), repeat=n):
        weight = Fraction(1)
        for x, p in zip(states, prior, strict=True):
            weight *= p if x else 1 - p
        for f, leak in missed.items():
            miss = leak
            for i in range(n):
                if states[i]:
                    miss *= 1 - Fraction(float(net.link[i, f]))
            if f in soft:
                weight *= soft[f][0] * miss + soft[f][1] * (1 - miss)
            else:
                weight *= 1 - miss if f in seen else miss
        total += weight
        for i in range(n):
            marginals[i] += weight * states[i]
        none += weight * (sum(states) == 0)
        several += weight * (sum(states) > 1)
    return (
        np.asarray([float(m / total) for m in marginals]),
        float(none / total),
        float(several / total),
        float(np.log(float(total))),
    )


@pytest.mark.parametrize("seed", range(6))
def test_against_enumeration_in_fractions(seed):
    rng = np.random.default_rng(seed)
    net = network(rng, 7, 12)
    order = [int(f) for f in rng.permutation(12)]
    count = int(rng.integers(0, 8))
    seen, not_seen = order[:count], order[count : count + 3]
    marginals, none, several, log = enumerated(net, seen, not_seen)
    found = net.posterior(seen, not_seen)
    assert found.marginals == pytest.approx(marginals, abs=1e-13)
    assert found.none == pytest.approx(none, abs=1e-13)
    assert found.two_or_more == pytest.approx(several, abs=1e-12)
    assert found.log_evidence == pytest.approx(log, abs=1e-11)


def test_fourteen_seen_findings_with_tiny_priors_lose_no_digits():
    # Here the alternating sum over subsets of seen findings cancels to nothing.
    rng = np.random.default_rng(3)
    prior = rng.uniform(1e-7, 1e-5, 6)
    leak = rng.uniform(1e-9, 1e-7, 14)
    link = np.where(rng.random((6, 14)) < 0.6, rng.uniform(0.05, 0.9, (6, 14)), 0.0)
    net = NoisyOr(prior, leak, link)
    seen = list(range(14))
    marginals, none, several, log = enumerated(net, seen, [])
    found = net.posterior(seen)
    assert found.marginals == pytest.approx(marginals, rel=1e-12)
    assert found.none == pytest.approx(none, rel=1e-12)
    assert found.two_or_more == pytest.approx(several, rel=1e-9)
    assert found.log_evidence == pytest.approx(log, rel=1e-12)


@pytest.mark.parametrize(("seed", "count"), [(0, 4), (1, 7), (2, 10), (3, 10)])
def test_against_pyagrum_with_sixty_causes_and_a_hundred_findings(seed, count):
    # pyAgrum 3.3.1, LazyPropagation over its own noisy-OR tables.
    rng = np.random.default_rng(seed)
    net = network(rng, 60, 100, least=2, most=6)
    order = [int(f) for f in rng.permutation(100)]
    seen, not_seen = order[:count], order[count : count + 20]
    found = net.posterior(seen, not_seen)
    evidence = {**{f"f{f}": 1 for f in seen}, **{f"f{f}": 0 for f in not_seen}}
    engine = pyagrum.LazyPropagation(as_pyagrum(net))
    engine.setEvidence(evidence)
    engine.setTargets({f"c{i}" for i in range(60)})
    engine.makeInference()
    theirs = np.asarray([engine.posterior(f"c{i}")[1] for i in range(60)])
    assert np.abs(found.marginals - theirs).max() <= 1e-12


def as_pyagrum(net):
    model = pyagrum.BayesNet()
    for i, p in enumerate(net.prior):
        model.add(pyagrum.LabelizedVariable(f"c{i}", "", 2))
        model.cpt(f"c{i}").fillWith([float(1 - p), float(p)])
    for f, leak in enumerate(net.leak):
        model.addNoisyORNet(pyagrum.LabelizedVariable(f"f{f}", "", 2), float(leak))
        for i in np.flatnonzero(net.link[:, f]):
            model.addWeightedArc(f"c{i}", f"f{f}", float(net.link[i, f]))
    return model


@pytest.mark.parametrize("seed", range(4))
def test_the_value_of_every_further_finding_is_what_asking_it_gives(seed):
    rng = np.random.default_rng(40 + seed)
    net = network(rng, 9, 12)
    order = [int(f) for f in rng.permutation(12)]
    seen, not_seen = order[:4], order[4:6]
    values = net.values(seen, not_seen)
    assert set(values.findings) == set(order[6:])
    for row, finding in enumerate(values.findings):
        if_seen = net.posterior([*seen, finding], not_seen)
        if_not = net.posterior(seen, [*not_seen, finding])
        now = net.posterior(seen, not_seen)
        chance = np.exp(if_seen.log_evidence - now.log_evidence)
        assert values.seen[row] == pytest.approx(chance, abs=1e-12)
        assert values.if_seen[row] == pytest.approx(if_seen.marginals, abs=1e-11)
        assert values.if_not[row] == pytest.approx(if_not.marginals, abs=1e-12)
        assert values.bits[row] >= -1e-9


@pytest.mark.parametrize("seed", range(2))
def test_dense_networks_and_fourteen_seen_findings_against_enumeration(seed):
    # Every finding has most of the causes: the table is as wide as there are seen findings.
    rng = np.random.default_rng(60 + seed)
    net = network(rng, 7, 19, least=5, most=7)
    seen, not_seen = list(range(14)), [14, 15]
    values = net.values(seen, not_seen, soft={16: (1.0, 2.0)})
    assert values.findings == (17, 18)
    for row, finding in enumerate(values.findings):
        off, *_, off_log = enumerated(net, seen, [*not_seen, finding], {16: (1.0, 2.0)})
        on, *_, on_log = enumerated(net, [*seen, finding], not_seen, {16: (1.0, 2.0)})
        assert values.if_not[row] == pytest.approx(off, abs=1e-12)
        assert values.if_seen[row] == pytest.approx(on, abs=1e-12)
        chance = 1.0 / (1.0 + np.exp(off_log - on_log))
        assert values.seen[row] == pytest.approx(chance, abs=1e-12)


def test_answers_in_turns_are_the_answers_at_once(monkeypatch):
    net = network(np.random.default_rng(5), 20, 40, least=8, most=12)
    seen, not_seen = list(range(9)), [9, 10]
    at_once = net.values(seen, not_seen)
    monkeypatch.setattr("witnessmark.inference.networks.noisy_or_sums.HELD", 20_000)
    in_turns = net.values(seen, not_seen)
    assert np.array_equal(at_once.if_seen, in_turns.if_seen)
    assert np.array_equal(at_once.bits, in_turns.bits)


def test_a_finding_that_is_hardly_ever_seen_keeps_its_digits():
    rng = np.random.default_rng(8)
    net = network(rng, 8, 6, least=3)
    leak, link = net.leak.copy(), net.link.copy()
    leak[5], link[:, 5] = 1e-11, np.where(link[:, 5] > 0.0, 1e-9, 0.0)
    net = NoisyOr(net.prior, leak, link)
    values = net.values([0, 1], [2], findings=[5])
    on, *_, on_log = enumerated(net, [0, 1, 5], [2])
    *_, log = enumerated(net, [0, 1], [2])
    assert values.seen[0] == pytest.approx(np.exp(on_log - log), rel=1e-11)
    assert values.if_seen[0] == pytest.approx(on, rel=1e-11)


def test_the_order_of_work_takes_every_cause_once_and_closes_every_finding():
    rng = np.random.default_rng(11)
    for least, most in ((1, 3), (4, 9), (12, 20)):
        net = network(rng, 20, 12, least=least, most=most)
        parents = [sum(1 << int(i) for i in np.flatnonzero(c)) for c in net.link.T]
        order = order_of(range(12), parents)
        causes = [step.cause for step in order.steps]
        assert len(set(causes)) == len(causes)
        closed = [f for step in order.steps for _, f in step.closed] + list(order.alone)
        assert sorted(closed) == list(range(12))
        linked = {(step.cause, f) for step in order.steps for _, f in step.places}
        assert linked == {(int(i), int(f)) for i, f in np.argwhere(net.link > 0.0)}


def test_soft_evidence_lies_between_and_its_ends_are_the_hard_answers():
    net = network(np.random.default_rng(9), 8, 6, least=2)
    seen = net.posterior([0, 1]).marginals
    gone = net.posterior([0], [1]).marginals
    unknown = net.posterior([0]).marginals
    assert net.posterior([0], soft={1: (0.0, 1.0)}).marginals == pytest.approx(seen, abs=1e-14)
    assert net.posterior([0], soft={1: (1.0, 0.0)}).marginals == pytest.approx(gone, abs=1e-14)
    assert net.posterior([0], soft={1: (1.0, 1.0)}).marginals == pytest.approx(unknown, abs=1e-14)
    maybe = net.posterior([0], soft={1: (1.0, 2.0)}).marginals
    assert np.all(np.minimum(seen, gone) - 1e-12 <= maybe)
    assert np.all(maybe <= np.maximum(seen, gone) + 1e-12)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**32 - 1), st.randoms(use_true_random=False))
def test_the_order_of_findings_does_not_matter_and_what_was_not_asked_changes_nothing(seed, order):
    rng = np.random.default_rng(seed)
    net = network(rng, 8, 9)
    seen, not_seen = [0, 1, 2, 3], [4, 5]
    shuffled = list(seen)
    order.shuffle(shuffled)
    first = net.posterior(seen, not_seen)
    second = net.posterior(shuffled, not_seen[::-1])
    assert first.marginals == pytest.approx(second.marginals, abs=1e-13)
    smaller = NoisyOr(net.prior, net.leak[:6], net.link[:, :6]).posterior(seen, not_seen)
    assert first.marginals == pytest.approx(smaller.marginals, abs=1e-14)
    assert np.all(first.marginals >= 0.0)
    assert np.all(first.marginals <= 1.0 + 1e-12)
    assert 0.0 <= first.none <= 1.0 + 1e-12


def test_impossible_or_doubled_evidence_is_refused():
    net = NoisyOr([0.1, 0.2], [0.0, 0.1], [[0.0, 0.5], [0.0, 0.3]])
    with pytest.raises(ValueError, match="impossible"):
        net.posterior([0])
    with pytest.raises(ValueError, match="twice"):
        net.posterior([1], [1])
    for wrong in (([0.0], [0.1], [[0.5]]), ([0.5], [1.0], [[0.5]]), ([0.5], [0.1], [[1.0]])):
        with pytest.raises(ValueError, match="lies"):
            NoisyOr(*wrong)
    with pytest.raises(ValueError, match="row"):
        NoisyOr([0.5], [0.1], [[0.5, 0.5]])
