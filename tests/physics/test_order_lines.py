"""Lines, coincidences, aliases; numbers of the domain notes section 5 and shared/checks R-ord."""

import pytest

from witnessmark.physics.vibration.orders.order_lines import (
    Line,
    aliases,
    coincidences,
    expected_lines,
    fold,
    order_of,
    same_turning,
)

SHAFT, JOINT = Line("drive shaft 1x", "shaft", 1), Line("drive shaft 2x", "shaft", 2)
WHEEL = Line("tyre 1x", "wheel", 1)


def test_orders_in_a_gear():  # R-ord
    assert order_of(SHAFT, 0.73, 3.55) == pytest.approx(1.369863)
    assert order_of(JOINT, 0.73, 3.55) == pytest.approx(2.739726)
    assert order_of(WHEEL, 0.73, 3.55) == pytest.approx(0.385877, abs=1e-6)


def names(found, gear):
    return {frozenset((c.first.name, c.second.name)) for c in found if c.gear == gear}


def test_coincidences_named_before_the_drive():
    found = coincidences({"direct": 1.0, "8": 1.33, "10": 0.73}, 3.55)
    assert frozenset(("engine order 1", "drive shaft 1x")) in names(found, "direct")
    assert frozenset(("engine order 2", "drive shaft 2x")) in names(found, "direct")
    assert frozenset(("engine order 1.5", "drive shaft 2x")) in names(found, "8")
    assert frozenset(("engine order 1", "drive shaft 1x")) not in names(found, "10")
    direct = next(c for c in found if c.gear == "direct" and c.second.name == "drive shaft 1x")
    assert "gear direct" in direct.sentence()


def test_a_slow_phone_fakes_an_imbalance():
    """100 Hz: the third order at 1500 rpm is 75 Hz and folds to 25 Hz, exactly order 1."""
    assert fold(75, 100) == pytest.approx(25)
    assert fold(30, 100) == pytest.approx(30)
    assert fold(130, 100) == pytest.approx(30)
    found = aliases(expected_lines(orders=(0.5, 1, 3)), 100.0, 1500.0)
    assert [(a.line.name, a.onto.name) for a in found] == [("engine order 3", "engine order 1")]
    assert "folds to 25 Hz" in found[0].sentence()
    assert not aliases(expected_lines(orders=(0.5, 1, 3)), 400.0, 1500.0)


def test_accessories_by_ratio():
    driven = {"fan": 1.12, "alternator": 2.8, "water pump": 1.0, "power steering": 2.8}
    lines = expected_lines(orders=(0.5, 1.0, 3.0), accessories=driven)
    names_ = [line.name for line in lines if line.accessory]
    assert names_ == ["fan 1x", "alternator or power steering 1x", "water pump 1x"]
    # What turns with an engine order can never be told from it by its speed.
    assert same_turning(lines) == {"water pump 1x": "engine order 1"}
    found = coincidences({"10": 0.73, "8": 1.25}, 3.55, lines)
    always = names(found, "")
    assert frozenset(("engine order 1", "water pump 1x")) in always
    assert "In every gear" in next(c for c in found if not c.gear).sentence()
    # 1.12 is 1.4 / 1.25: in gear 8 no accessory stands on a shaft line, in 10 none does either.
    assert frozenset(("fan 1x", "drive shaft 1x")) not in names(found, "8")
    assert frozenset(("alternator or power steering 1x", "drive shaft 2x")) in names(
        coincidences({"10": 0.714}, 3.55, lines), "10"
    )  # 2 / 0.714 = 2.801
