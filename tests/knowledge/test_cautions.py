"""The caution library, and what each step of a decided pack says of it."""

import re
from pathlib import Path

import pytest

from witnessmark.knowledge import load_knowledge

KNOWLEDGE = load_knowledge()
#: Families whose every test and repair has been decided: cautions, or a written reason for none.
DECISIONS = Path(__file__).parents[2] / "docs" / "decisions"
DECIDED = sorted({p.stem for p in DECISIONS.glob("*.md")} & set(KNOWLEDGE.families))
STEPS = [
    (family, step)
    for family in DECIDED
    for step in (*KNOWLEDGE.families[family].causes, *KNOWLEDGE.families[family].tests)
]


@pytest.mark.parametrize("caution", KNOWLEDGE.cautions.values(), ids=lambda c: c.id)
def test_a_caution_fits_on_a_card_and_says_where_it_comes_from(caution):
    assert len(caution.short.split()) <= 20
    assert caution.source
    assert caution.area


def test_no_two_cautions_say_the_same():
    def plain(words):
        return frozenset(re.findall(r"[a-z]{4,}", words.lower()))

    shorts = {c.id: plain(c.short) for c in KNOWLEDGE.cautions.values()}
    ids = sorted(shorts)
    near = [
        (a, b)
        for i, a in enumerate(ids)
        for b in ids[i + 1 :]
        if len(shorts[a] & shorts[b]) > 0.6 * min(len(shorts[a]), len(shorts[b]))
    ]
    assert near == []


@pytest.mark.parametrize(("family", "step"), STEPS, ids=lambda v: getattr(v, "id", v))
def test_every_step_has_its_cautions_or_a_reason_for_none(family, step):
    assert family in DECIDED
    rules = step.rules
    assert bool(rules.cautions) != bool(rules.no_caution), step.id
    for caution in rules.cautions:  # the card holds them, first and whole
        assert KNOWLEDGE.cautions[caution].short in step.caution


def test_no_reason_for_no_caution_stands_twice():
    reasons = [s.rules.no_caution for _, s in STEPS if s.rules.no_caution]
    assert sorted(reasons) == sorted(set(reasons))
