"""Families guessed from a driver's words: by the seen list, and what the guess may not do.

The sentences are invented, by one author, and were seen while the words were gathered; the share on
sentences that nobody saw is in ``studies/first_words``.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest

from conftest import ROOT
from witnessmark.knowledge import load_knowledge
from witnessmark.knowledge.first_words.guessed_families import (
    MOST,
    Matcher,
    Said,
    guessed,
    spoken_families,
)
from witnessmark.knowledge.first_words.spoken_words import spoken, stem, tokens

sys.path.insert(0, str(ROOT / "studies" / "first_words"))
from score import every_family, score

LIST = Path(__file__).parents[1] / "files" / "sentences" / "drivers_a.tsv"


@pytest.fixture(scope="module")
def matcher() -> Matcher:
    return every_family()


def test_the_seen_list_finds_its_families(matcher: Matcher) -> None:
    found = score(LIST, matcher)
    assert found.sentences > 190
    assert found.offered / found.sentences >= 0.95
    assert found.first / found.sentences >= 0.90
    assert found.quiet / found.apart >= 0.80
    assert found.extra / found.sentences < 1.5


def test_the_scorer_would_see_a_matcher_that_knows_nothing() -> None:
    blank = replace(next(iter(load_knowledge().families.values())), id="x", causes=(), tests=(),
                    name="", complaint_words="")  # fmt: skip
    assert score(LIST, Matcher((blank,))).offered == 0


def test_a_guess_says_why_and_is_the_same_every_time(matcher: Matcher) -> None:
    first = matcher.guess("Blue smoke out of the stack, uses a gallon of oil")
    assert first[0].family == "smoke"
    assert "blue smoke" in first[0].because
    assert first == every_family().guess("Blue smoke out of the stack, uses a gallon of oil")
    assert len(first) <= MOST
    assert matcher.guess("") == ()
    assert matcher.guess("xyzzy 7 ??") == ()
    assert matcher.guess("!" * 4000) == ()


def test_only_families_that_a_pack_has_are_offered() -> None:
    families = load_knowledge().families
    mine = [families["smoke"], families["overheat"]]
    names = {g.family for g in guessed("runs hot, white smoke and no air pressure", mine)}
    assert names == {"smoke", "overheat"}


def test_a_family_without_words_of_the_trade_is_found_by_its_own() -> None:
    words = '"roof hatch rattles", drips on my head'
    family = replace(load_knowledge().families["smoke"], id="zz_sunroof", name="Sun roof",
                     complaint_words=words, causes=(), tests=())  # fmt: skip
    [guess] = guessed("the hatch on the roof rattles", [family])
    assert guess.family == "zz_sunroof"


def test_earlier_complaints_of_the_shop_teach_its_drivers_words() -> None:
    families = list(load_knowledge().families.values())
    words = "she wallops on the zbrixq"
    assert guessed(words, families) == ()
    earlier = [Said(f"wallops again {n}", ("vib_speed",)) for n in range(4)]
    earlier += [Said(f"drips {n}", ("oil_leak",)) for n in range(4)]
    [guess, *_] = guessed(words, families, earlier)
    assert guess.family == "vib_speed"
    assert any("wallop" in b for b in guess.because)


def test_thumbs_slip_and_words_mean_the_same() -> None:
    same = {"lamps": "light", "wont": "no"}
    assert tokens("The lamps wont crank", same) == ("light", "no", "crank")
    assert tokens("overheeting", {}, {"overheat"}) == tokens("overheating", {}, {"overheat"})
    assert tokens("oven", {}, {"oil"}) == ("oven",)
    assert tokens("radiatr leeks", {}, {"radiator"})[0] == "radiator"
    assert stem("slipping") == stem("slips") == "slip"
    assert tokens("shakes at 62 and 1500", {}) == ("shak", "mph", "rpm")


def test_the_words_of_the_trade_are_sound() -> None:
    told = spoken()
    assert len(spoken_families()) >= 42
    for name, rows in told["families"].items():
        assert set(rows) == {"share", "sure", "words", "also"}, name
        for text in (*rows["sure"], *rows["words"], *rows["also"]):
            assert 1 <= len(text.split()) <= 9, text
