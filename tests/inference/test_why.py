"""Why the odds stand where they stand: order, signs, words and limits, each worked by hand.

The beliefs here are invented tables, so that every figure can be done on paper: what is held is
how a piece's effect is taken, named and sorted, not how it is inferred.
"""

from __future__ import annotations

import math
from types import SimpleNamespace as Made

import numpy as np
import pytest

from witnessmark.inference.odds.why import (
    contributions,
    log_odds,
    looks_like,
    most_telling,
    would_change,
)
from witnessmark.model.details.finding_details import NO_DETAILS
from witnessmark.model.details.reading_details import SaidShort
from witnessmark.model.evidence import Clue, Outcome, Stage, StagedEvidence, TestResult, Work


def believing(*chances, **more):
    table = np.asarray(chances, float)
    causes = tuple("abcdefgh"[: table.size])
    return Made(
        marginals=lambda: table, causes=causes, results={}, halved=(), repaired=(), **more
    )  # fmt: skip


def condition(words, scoped=False):
    return Made(words=words, part_scoped=scoped)


KNOWLEDGE = Made(
    conditions={
        "smell": condition("smells of fuel"), "cold": condition("only when cold"),
        "paint": condition("paint untouched", scoped=True),
    },
    cause=lambda c: Made(name={"a": "Pump worn", "b": "Filter"}[c]) if c in "ab" else None,
)  # fmt: skip
PRESSURE = Made(
    id="t", name="Pressure at idle", outcomes=("positive", "negative"),
    outcome_words={"positive": "low", "negative": "fair"},
)  # fmt: skip
FAMILY = Made(tests=(PRESSURE,), test=lambda i: PRESSURE if i == "t" else None)


def why(evidence, chance_without, now=0.5, **more):
    """Return the pieces of cause "a"; *chance_without* gives P(a) from the evidence left."""
    return contributions(
        FAMILY, KNOWLEDGE, evidence, believing(now),
        lambda left: believing(chance_without(left)), **more,
    )[0]  # fmt: skip


def clues(*names):
    return StagedEvidence(clues=tuple(Clue(n, True, "", f"e-{n}") for n in names))


# Effects, their sign, size and order.


def test_the_largest_effect_stands_first_whichever_way_it_points():
    """Odds now 1:1. Without the smell 4:1, so it made the cause 4 times less likely; without the
    cold start 1:2, so that made it 2 times more likely; without the third 1:9, 9 times more."""
    left = {"smell": 4 / 5, "cold": 1 / 3, "new": 1 / 10}

    def without(evidence):
        (gone,) = set(left) - {c.condition for c in evidence.clues}
        return left[gone]

    found = why(clues("smell", "cold", "new"), without)
    assert [c.finding for c in found] == ["clue:new", "clue:smell", "clue:cold"]
    assert [c.effect for c in found] == pytest.approx([math.log(9), -math.log(4), math.log(2)])
    assert [c.words for c in found] == [
        "new: yes: speaks for it",
        "smells of fuel: yes: speaks against it",
        "only when cold: yes: leans to it",
    ]
    assert [c.entries for c in found] == [("e-new",), ("e-smell",), ("e-cold",)]


@pytest.mark.parametrize(
    ("effect", "words"),
    [
        (0.09, "hardly changes it"),  # exp 0.09 = 1.094
        (0.10, "hardly changes it"),  # exp 0.10 = 1.105
        (-0.10, "hardly changes it"),
        (math.log(9.9), "speaks for it"),
        (math.log(10.4), "speaks strongly for it"),
        (math.log(998.0), "speaks strongly for it"),
        (math.log(1001.0), "speaks strongly for it"),
        (25.0, "speaks strongly for it"),
    ],
)
def test_an_effect_in_words(effect, words):
    (found,) = why(clues("smell"), lambda _: 1 / (1 + math.exp(effect)))
    assert found.effect == pytest.approx(effect, rel=1e-3)
    assert found.words == f"smells of fuel: yes: {words}"


@pytest.mark.parametrize(("effect", "count"), [(0.0049, 0), (0.0051, 1), (-0.0051, 1)])
def test_what_changes_next_to_nothing_is_left_out(effect, count):
    assert len(why(clues("smell"), lambda _: 1 / (1 + math.exp(effect)))) == count
    other = {"smoke": believing(1 / (1 + math.exp(effect)))}
    assert len(why(StagedEvidence(), lambda _: 0.5, without=other)) == count


def test_what_another_complaint_says_is_a_piece_too():
    (found,) = why(StagedEvidence(), lambda _: 0.5, without={"smoke": believing(0.2)})
    assert found.finding == "link"
    assert found.effect == pytest.approx(math.log(4))
    assert found.words == ("what is known of the other complaint, smoke: speaks for it")


def test_the_newest_eighty_pieces_are_explained():
    many = StagedEvidence(clues=tuple(Clue(f"c{n}", True, "", "") for n in range(82)))
    found = why(many, lambda _: 0.2)
    assert [c.finding for c in found] == [f"clue:c{n}" for n in range(2, 82)]
    assert found[0].entries == ()


def test_log_odds_stay_finite_at_the_ends():
    assert log_odds(np.array([0.5, 0.2, 0.8])) == pytest.approx([0, -math.log(4), math.log(4)])
    assert log_odds(np.array([0.0, 1.0])) == pytest.approx([-27.631, 27.631], abs=1e-3)


# Which pieces there are, and what is left when one is taken away.


def pieces(evidence):
    """Return code -> (words without the effect, what was left)."""
    left = []

    def again(rest):
        left.append(rest)
        return believing(0.2)

    (found,) = contributions(FAMILY, KNOWLEDGE, evidence, believing(0.5), again)
    assert len(found) == len(left)
    tail = ": speaks for it"
    assert all(c.words.endswith(tail) for c in found)
    return [(c.finding, c.words.removesuffix(tail), r) for c, r in zip(found, left, strict=True)]


def test_a_clue_said_again_counts_once_as_it_was_said_last():
    first, second = Clue("smell", True, "", "e1"), Clue("smell", False, "", "e2")
    third = Clue("cold", "maybe", "", "e3")
    found = pieces(StagedEvidence(clues=(first, second, third)))
    assert [(f, w) for f, w, _ in found] == [
        ("clue:smell", "smells of fuel: looked, no"), ("clue:cold", "only when cold: perhaps"),
    ]  # fmt: skip
    assert found[0][2].clues == (first, third)
    assert found[1][2].clues == (first, second)


def test_a_clue_of_one_part_is_not_said_again_by_another_parts():
    paint = [Clue("paint", True, part, part) for part in ("a", "b", "a", "z")]
    found = pieces(StagedEvidence(clues=tuple(paint)))
    assert [w for _, w, _ in found] == [
        "paint untouched (Filter): yes", "paint untouched (Pump worn): yes",
        "paint untouched: yes",
    ]  # fmt: skip
    # A clue that is not of one part carries no part's name, and is said again by any.
    plain = pieces(StagedEvidence(clues=(Clue("cold", True, "a"), Clue("cold", True, "b"))))
    assert [w for _, w, _ in plain] == ["only when cold: yes"]


def test_every_kind_of_piece_is_taken_away_alone_from_its_own_stage():
    finding = Made(
        code="sag",
        details=NO_DETAILS,
        sentence="The pressure sags.",
        evidence=Made(entries=("r1", "r2")),
    )
    short = Made(
        code="sag2", details=SaidShort(short="sags"), sentence="x", evidence=Made(entries=())
    )
    before = Stage(tests=(TestResult("t", "positive", "t1"), TestResult("u", "odd", "u1")))
    after = Stage(
        work=Work("a", "w1"),
        tests=(TestResult("t", "positive", "t2"), TestResult("t", "negative", "t3")),
        findings=(finding, short),
        outcomes=(Outcome(False, "o1"), Outcome(True, "o2"), Outcome(False, "o3", True)),
    )
    last = Stage(work=Work("", "w2"))
    found = pieces(StagedEvidence(stages=(before, after, last)))
    assert [(f, w) for f, w, _ in found] == [
        ("test:t", "Pressure at idle: low"),
        ("test:u", "u: odd"),
        ("test:t", "Pressure at idle: fair"),  # the same test twice in a stage: the last counts
        ("sag", "The pressure sags"),
        ("sag2", "sags"),
        ("work:w1", "work done on: Pump worn"),
        ("outcome:o1", "complaint afterwards: not gone"),
        ("outcome:o2", "complaint afterwards: gone"),
        ("outcome:o3", "complaint afterwards: partly gone"),
    ]
    left = [rest.stages for _, _, rest in found]
    assert all(s[2] == last for s in left)
    assert [s[1] == after for s in left] == [True, True, *[False] * 7]
    assert left[0][0].tests == before.tests[1:]
    assert left[1][0].tests == before.tests[:1]
    assert left[2][1].tests == after.tests[:1]
    assert left[3][1].findings == (short,)
    assert left[4][1].findings == (finding,)
    assert left[5][1].work == Work("", "w1")
    assert [o.entry for o in left[6][1].outcomes] == ["o2", "o3"]
    assert [o.entry for o in left[7][1].outcomes] == ["o1", "o3"]
    assert [o.entry for o in left[8][1].outcomes] == ["o1", "o2"]


def test_work_on_a_part_unknown_here_is_named_by_its_id():
    (found,) = pieces(StagedEvidence(stages=(Stage(work=Work("z", "w")),)))
    assert found[1] == "work done on: z"


# What looks the same.


def alike(chances, singles, shares):
    """Return what looks like what; *singles* is P(this cause alone)."""
    states = np.zeros(2 ** len(singles) + 1)
    states[[1 << i for i in range(len(singles))]] = singles
    belief = believing(*chances, states=states)
    belief.share = dict(zip(belief.causes, shares, strict=True))
    return looks_like(belief)


def test_two_causes_look_the_same_below_a_factor_of_two():
    # Support is P(alone) over the share: 2, 1 and 1.5. Two to one is told apart; 1.5 is not.
    found = alike([0.3, 0.2, 0.4], [0.5, 0.25, 0.375], [0.25] * 3)
    assert found == [("c",), ("c",), ("a", "b")]
    # The share counts: twice as likely after, and twice as likely before, is no difference.
    assert alike([0.3, 0.3], [0.5, 0.25], [0.5, 0.25]) == [("b",), ("a",)]
    assert alike([0.3, 0.3], [0.5, 0.5], [0.5, 0.125]) == [(), ()]


def test_the_likeliest_of_those_that_look_the_same_stands_first():
    assert alike([0.1, 0.2, 0.4], [0.25] * 3, [0.25] * 3) == [
        ("c", "b"), ("c", "a"), ("b", "a"),
    ]  # fmt: skip


@pytest.mark.parametrize(("chance", "said"), [(0.03, True), (0.029, False)])
def test_what_is_hardly_likely_looks_like_nothing(chance, said):
    found = alike([chance, 0.5], [0.25] * 2, [0.25] * 2)
    assert found == ([("b",), ("a",)] if said else [(), ()])


# What would change it.


def test_of(name):
    return Made(id=name, name=f"Test {name}", outcomes=("yes", "no"), outcome_words={"yes": "seen"})


test_of.__test__ = False


def open_tests(belief, **tables):
    """Give the belief tests: name -> (P(yes), P(a | yes), P(a | no))."""
    family = Made(tests=tuple(test_of(n) for n in tables))
    belief.all_results = lambda tests: [
        (np.array([p, 1 - p]), np.array([[yes], [no]]))
        for t in tests
        for p, yes, no in [tables[t.id]]
    ]
    return family


def test_the_readings_that_move_a_cause_most_are_named_with_what_they_would_say():
    """Mean moves from 0.4: 0.5*0.5 + 0.5*0.3 = 0.4, 0.1 and 0.25*0.6 + 0.75*0.2 = 0.3."""
    belief = believing(0.4)
    family = open_tests(belief, p=(0.5, 0.9, 0.1), q=(0.5, 0.5, 0.3), r=(0.25, 1.0, 0.2))
    assert would_change(belief, family) == [
        (
            "Test p: seen 90 %, no 10 % (now 40 %)",
            "Test r: seen over 99 %, no 20 % (now 40 %)",
        )
    ]
    assert [len(w) for w in would_change(belief, family, most=1)] == [1]
    assert [len(w) for w in would_change(belief, family, most=3)] == [3]
    belief.results, belief.halved = {"p": ("yes", 1.0)}, ("r",)
    assert would_change(belief, family) == [("Test q: seen 50 %, no 30 % (now 40 %)",)]


@pytest.mark.parametrize(
    ("now", "step", "count"),
    [(0.03, 0.02, 1), (0.029, 0.02, 0), (0.5, 0.0101, 1), (0.5, 0.0099, 0)],
)
def test_small_moves_and_unlikely_causes_are_not_worth_a_word(now, step, count):
    belief = believing(now)
    family = open_tests(belief, p=(0.5, now + step, now - step))
    assert len(would_change(belief, family)[0]) == count


def test_the_most_telling_test_is_the_one_that_moves_the_cause_most():
    belief = believing(0.4, model=Made(number={"a": 0}))
    family = open_tests(belief, q=(0.5, 0.5, 0.3), p=(0.5, 0.9, 0.1), r=(0.25, 1.0, 0.2))
    test, after = most_telling(belief, family, "a")
    assert test.id == "p"
    assert after.tolist() == [0.9, 0.1]
    belief.results = {"p": ("yes", 1.0)}
    assert most_telling(belief, family, "a")[0].id == "r"
    belief.halved = ("r", "q")
    assert most_telling(belief, family, "a") is None


@pytest.mark.parametrize(("step", "told"), [(0.0099, False), (0.0101, True)])
def test_a_test_that_moves_it_by_less_than_one_per_cent_is_not_telling(step, told):
    belief = believing(0.4, model=Made(number={"a": 0}))
    family = open_tests(belief, p=(0.5, 0.4 + step, 0.4 - step))
    assert (most_telling(belief, family, "a") is not None) == told
