"""What may be said: FUEL.md section 8 as rules."""

import numpy as np
import pytest

from witnessmark.inference.fuel.fuel_groups import LEAK, PUMP, RELIEF, RETURN
from witnessmark.inference.fuel.fuel_words import (
    may_name_one,
    present_fuel,
    zone_probabilities,
)
from witnessmark.words.say.fuel import none_fits


def say(chances, *, readings=6, known=False, fits=True, healthy=0.02):
    groups = np.zeros(9)
    for g, p in chances.items():
        groups[g] = p
    zones = [("supply", max(groups[RELIEF], groups[PUMP])), ("return", groups[RETURN]),
             ("filter", groups[2]), ("suction", groups[4]), ("gauge", groups[7]),
             ("other", groups[8])]  # fmt: skip
    return present_fuel(groups, zones, healthy, readings=readings, type_known=known, fits=fits)


@pytest.mark.parametrize(
    ("chance", "level", "word"), [(0.85, "points to", "Likely"), (0.55, "suspect", "Suspected"),
                                  (0.95, "points to", "Almost sure")]
)  # fmt: skip
def test_words_by_level(chance, level, word):
    shown = say({RELIEF: chance, PUMP: 0.1})
    assert shown.level == level
    assert shown.named == RELIEF
    assert word in shown.statement
    assert "the relief valve" in shown.statement


def test_below_half_nothing_is_named():
    shown = say({RELIEF: 0.45, PUMP: 0.3, RETURN: 0.2})
    assert shown.named is None
    assert "Not decided between" in shown.statement


@pytest.mark.parametrize(
    ("readings", "known", "chance", "may"),
    [(2, False, 0.97, False), (2, True, 0.75, False), (2, True, 0.85, True), (3, False, 0.55, True),
     (1, False, 0.99, False)],
)  # fmt: skip
def test_two_readings_never_name_one_part_of_an_unknown_type(readings, known, chance, may):
    assert may_name_one(readings, known, chance) is may
    named = say({RELIEF: chance}, readings=readings, known=known).named
    assert (named is not None) is may


def test_zone_comes_first():
    shown = say({RELIEF: 0.5, PUMP: 0.45})
    assert shown.statement.index("transfer pump") < shown.statement.index("relief valve in the")


def test_none_fits_says_nothing_else():
    shown = say({RELIEF: 0.95}, fits=False)
    assert shown.statement == none_fits()
    assert shown.named is None


def test_what_looks_the_same_is_told():
    pairs = {(a, b) for a, b, _ in say({RELIEF: 0.5, PUMP: 0.3}).looks_like}
    assert (RELIEF, PUMP) in pairs
    pairs = {(a, b) for a, b, _ in say({LEAK: 0.15, RETURN: 0.6}).looks_like}
    assert (LEAK, RETURN) in pairs


def test_zones_count_either_part_once():
    labels = np.array([0b1, 0b1000, 0b1001, 0])  # relief, pump, both, nothing
    zones = dict(zone_probabilities(labels, np.array([0.2, 0.3, 0.1, 0.4])))
    assert zones["supply"] == pytest.approx(0.6)
    assert zones["return"] == 0
