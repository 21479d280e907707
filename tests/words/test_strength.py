"""One set of words for how sure we are."""

from __future__ import annotations

import math

import pytest

from witnessmark.words.say.odds import nothing_fits, nothing_wrong
from witnessmark.words.strength import how_sure, listed, speaks


@pytest.mark.parametrize(
    ("probability", "word"),
    [(0.0, "not likely"), (0.0999, "not likely"), (0.10, "possible"), (0.2999, "possible"),
     (0.30, "suspected first"), (0.5999, "suspected first"), (0.60, "likely"), (0.90, "likely"),
     (0.901, "almost sure"), (1.0, "almost sure"), (None, "not clear"), (math.nan, "not clear")],
)  # fmt: skip
def test_each_step_has_its_word(probability, word):
    assert how_sure(probability) == word


def test_nothing_is_almost_sure_without_something_that_could_have_said_no():
    assert how_sure(0.99, tested=False) == "likely"


def test_only_what_was_seen_bad_is_found():
    assert how_sure(0.99, found=True) == "found"
    assert "found" not in {how_sure(k / 1000) for k in range(1001)}


@pytest.mark.parametrize(
    ("factor", "pro", "contra"),
    [(1.4, "", ""), (1.5, "leans to it", "leans away from it"),
     (3.0, "speaks for it", "speaks against it"),
     (10.0, "speaks strongly for it", "speaks strongly against it")],
)  # fmt: skip
def test_each_piece_of_evidence_has_its_words(factor, pro, contra):
    effect = math.log(factor) * (1 + 1e-12)
    assert speaks(effect) == pro
    assert speaks(-effect) == contra


def test_a_piece_of_any_size_is_said():
    assert speaks(1e6) == "speaks strongly for it"
    assert speaks(-1e6) == "speaks strongly against it"


def test_nothing_fits_and_nothing_is_wrong_are_two_sentences():
    assert nothing_fits() != nothing_wrong("")
    assert "any more" in nothing_wrong("")
    assert "any more" not in nothing_fits()


def test_names_in_a_row():
    assert [listed(n, "or") for n in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "", "a", "a or b", "a, b or c",
    ]  # fmt: skip
