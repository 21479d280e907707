"""The blur: its distribution, its bound, and that one customer's part is bounded before it."""

from __future__ import annotations

import json
import math
import random
from collections import Counter
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given, settings
from hypothesis import strategies as st

from witnessmark.pooling.blurring import blurred, discrete_laplace, variance
from witnessmark.pooling.experience_file import signed_text
from witnessmark.pooling.tally import (
    AGES,
    CLASSES,
    TABLES,
    Closed,
    Shape,
    age_of,
    class_of,
    minutes_of,
    tally,
)

SHAPE = Shape(
    {"one": ("a", "b", "c"), "two": ("d", "e")},
    {"one": {"t": ("yes", "no")}, "two": {"u": ("low", "high", "none")}},
)


def _probability(z: int, scale: float) -> float:
    """P(Z = z) of the discrete Laplace in closed form."""
    q = math.exp(-1.0 / scale)
    return (1.0 - q) / (1.0 + q) * q ** abs(z)


@pytest.mark.parametrize("scale", [Fraction(1, 2), Fraction(2), Fraction(10, 3)])
def test_draws_have_the_stated_distribution(scale: Fraction) -> None:
    below = random.Random(20).randrange
    draws = Counter(discrete_laplace(scale, below) for _ in range(20_000))
    apart = degrees = 0.0
    for z in range(-12, 13):
        expected = 20_000 * _probability(z, float(scale))
        if expected >= 10:
            apart += (draws[z] - expected) ** 2 / expected
            degrees += 1
    # the 99.99 % point of chi-squared by Wilson and Hilferty 1931
    limit = degrees * (1 - 2 / (9 * degrees) + 3.72 * math.sqrt(2 / (9 * degrees))) ** 3
    assert apart < limit
    spread = sum(n * z * z for z, n in draws.items()) / 20_000
    assert spread == pytest.approx(variance(float(scale)), rel=0.08)


def test_no_output_tells_more_than_epsilon() -> None:
    epsilon, most = 0.7, 2
    scale = most / epsilon
    for moved in range(most + 1):
        ratios = [_probability(z, scale) / _probability(z - moved, scale) for z in range(-60, 61)]
        assert max(ratios) <= math.exp(epsilon) * (1 + 1e-12)


def test_membership_cannot_be_told_beyond_the_bound() -> None:
    """The best test of whether a customer is in: his rate of hits is bounded by epsilon."""
    scale = Fraction(2)  # a customer moves 1; epsilon is a half
    below = random.Random(21).randrange
    without = blurred(np.zeros(20_000, np.int64), scale, below)
    with_him = blurred(np.ones(20_000, np.int64), scale, below)
    for threshold in range(-4, 6):
        false, true = np.mean(without >= threshold), np.mean(with_him >= threshold)
        noise = 4 * math.sqrt(0.25 / 20_000)
        assert true - noise <= math.exp(0.5) * (false + noise)
        assert (1 - false) - noise <= math.exp(0.5) * ((1 - true) + noise)


def test_every_count_is_blurred_the_noughts_too() -> None:
    whole = blurred(np.zeros((40, 50), np.int64), Fraction(5), random.Random(3).randrange)
    assert 0.7 < np.mean(whole != 0) < 0.99


def test_a_scale_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="above 0"):
        discrete_laplace(Fraction(0))


CLOSED = st.builds(
    Closed,
    customer=st.sampled_from(["x", "y", "z"]),
    family=st.sampled_from(["one", "two", "gone"]),
    cause=st.sampled_from("abcde"),
    alone=st.booleans(),
    engine_class=st.sampled_from(CLASSES),
    age=st.sampled_from(AGES),
    results=st.lists(
        st.tuples(st.sampled_from("tu"), st.sampled_from(["yes", "no", "low", "odd"])), max_size=4
    ).map(tuple),
    minutes=st.none() | st.floats(0, 900),
    came_back=st.booleans(),
)


@settings(max_examples=150)
@given(st.lists(CLOSED, max_size=25))
def test_without_one_customer_no_table_moves_by_more_than_his_bound(rows: list[Closed]) -> None:
    whole = tally(rows, SHAPE)
    for who in "xyz":
        rest = tally([r for r in rows if r.customer != who], SHAPE)
        for table in TABLES:
            moved = sum(
                int(np.abs(whole[table.name][k] - rest[table.name][k]).sum())
                for k in whole[table.name]
            )
            assert moved <= table.most


def test_the_parts_of_the_budget_add_up() -> None:
    assert sum(t.part for t in TABLES) == 1


def test_bands() -> None:
    assert [class_of(x) for x in (None, 6.7, 9.0, 12.8, 13.0)] == [
        CLASSES[k] for k in (3, 0, 1, 1, 2)
    ]
    assert [age_of(x) for x in (None, 0, 250_000, 799_999, 1e6)] == [
        AGES[k] for k in (4, 0, 1, 2, 3)
    ]
    assert [minutes_of(m) for m in (5, 30, 31, 480, 481)] == [0, 0, 1, 4, 5]


def test_what_came_back_is_no_proven_closing() -> None:
    row = Closed("x", "one", "b", True, CLASSES[0], AGES[0], (("t", "yes"),), 45)
    found = tally([row, replace(row, customer="y", came_back=True)], SHAPE)
    assert found["closings"]["one"].tolist() == [0, 1, 0]
    assert found["comebacks"]["one"].tolist() == [[0, 0], [2, 1], [0, 0]]
    assert found["results"]["one t"].tolist() == [[0, 0], [1, 0], [0, 0]]


#: One customer who fills every table to his bound, beside others.
HIM = [
    Closed("him", "one", "b", True, CLASSES[0], AGES[0], (("t", "yes"), ("t", "no")), 200, back)
    for back in (False, False, False, True)
]
OTHERS = [
    Closed(f"o{k}", "one", "abc"[k % 3], True, CLASSES[1], AGES[1], (("t", "no"),), 45)
    for k in range(9)
]


def test_a_whole_file_tells_no_more_of_one_customer_than_its_budget() -> None:
    """Every table, results, minutes and comebacks too: the exact ratio of the probabilities.

    P(table) with him over P(table) without him is exp of the sum of the distances over the scale;
    the parts of all tables together are the budget that the file states.
    """
    with_him, without, epsilon = tally([*OTHERS, *HIM], SHAPE), tally(OTHERS, SHAPE), Fraction(3, 2)
    below = random.Random(22).randrange
    worst = dict.fromkeys((t.name for t in TABLES), 0.0)
    for table in TABLES:
        scale = table.most / (epsilon * table.part)
        there = np.concatenate([c.ravel() for c in with_him[table.name].values()])
        gone = np.concatenate([c.ravel() for c in without[table.name].values()])
        assert 0 < np.abs(there - gone).sum() <= table.most
        for start in (there, gone):
            for _ in range(150):
                told = blurred(start, scale, below)
                ratio = (np.abs(told - gone) - np.abs(told - there)).sum() / float(scale)
                worst[table.name] = max(worst[table.name], abs(float(ratio)))
        assert worst[table.name] <= float(epsilon * table.part) + 1e-12
        assert worst[table.name] > 0.5 * float(epsilon * table.part)  # and the bound is used
    assert sum(worst.values()) <= float(epsilon) + 1e-9


def test_the_file_is_blurred_as_it_states() -> None:
    """The scatter of 2,000 empty cells a table, against that of the stated budget."""
    causes = tuple(f"c{k}" for k in range(200))
    shape = Shape({"one": causes}, {"one": {f"t{k}": ("yes", "no") for k in range(5)}})
    text = signed_text(tally([], shape), shape, quarter="2031Q2", epsilon=Fraction(2),
                       spent=Fraction(2), key=Ed25519PrivateKey.generate())  # fmt: skip
    body = json.loads(text)
    for table in TABLES:
        stated = body["budget"]["tables"][table.name]
        scale = stated["most"] / Fraction(stated["epsilon"])
        cells = np.concatenate([np.asarray(rows).ravel() for rows in body[table.name].values()])
        # The relative error of a variance of heavy tails: sqrt(5 / n); six of them.
        off = float((cells.astype(float) ** 2).mean()) / variance(float(scale)) - 1.0
        assert abs(off) < 6 * math.sqrt(5 / cells.size)
