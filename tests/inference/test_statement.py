"""The sentence over the odds follows P(two causes), and "other" is never a part's name."""

from __future__ import annotations

import pytest

from witnessmark.inference import odds_for
from witnessmark.inference.family.staged_evidence import (
    Outcome,
    Stage,
    StagedEvidence,
    TestResult,
    Work,
)
from witnessmark.inference.odds.case_odds import case_beliefs
from witnessmark.inference.odds.why import log_odds
from witnessmark.knowledge import load_knowledge
from witnessmark.model.details.reading_details import ModelRefused
from witnessmark.model.finding import Evidence as Rests
from witnessmark.model.finding import Finding, Support
from witnessmark.words.strength import speaks

KNOWLEDGE = load_knowledge()


def evidence(*tests, support=None):
    findings = ()
    if support is not None:
        family, logs = support
        findings = (
            Finding(
                code="made_up",
                sentence="A finding of the physics.",
                outcome="seen",
                evidence=Rests(recording="0" * 64),
                method="test/1",
                support=(Support(family, logs),),
            ),
        )
    return StagedEvidence(
        stages=(Stage(tests=tuple(TestResult(*t) for t in tests), findings=findings),)
    )


def odds(family, pieces):
    return odds_for(KNOWLEDGE.families[family], {family: pieces}, KNOWLEDGE)


@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families))
def test_where_two_are_likelier_than_one_a_single_name_decides_nothing(family):
    record = KNOWLEDGE.families[family]
    tests = [t for t in record.tests if len(t.outcomes) == 2]
    # Tests that stand beside each other, both positive: many of them no single cause explains.
    for i, first in enumerate(tests):
        for second in tests[i + 1 : i + 2]:
            found = odds(family, evidence((first.id, "positive"), (second.id, "positive")))
            sure = [c for c in found.causes if c.low >= 0.80]
            if found.decided:
                assert len(sure) >= (2 if found.two_causes >= 0.5 else 1)
                assert "Not clear yet" not in found.statement
            if found.two_causes >= 0.5:
                assert "two" in found.statement
                assert not found.statement.startswith(("Found:", "Almost sure:", "Likely: "))


def test_one_sure_and_another_unknown_is_not_decided():
    # The damper by the physics; a shaft order that no damper makes and several shaft parts do.
    found = odds(
        "vib_load",
        evidence(
            ("v_shaft", "positive"), ("v_tyreorder", "negative"), ("v_joint", "maybe"),
            support=("vib_load", {"damper_aged": 9.0}),
        ),
    )  # fmt: skip
    first, second = found.causes[:2]
    assert first.probability >= 0.80 > second.probability
    assert found.two_causes >= 0.5
    assert not found.decided
    assert found.statement.startswith(f"Likely two faults: {first.name}")
    assert second.name in found.statement


@pytest.mark.parametrize("family", sorted(KNOWLEDGE.families))
def test_with_every_test_positive_it_asks_to_repeat_and_names_no_part(family):
    record = KNOWLEDGE.families[family]
    found = odds(family, evidence(*((t.id, "positive") for t in record.tests)))
    if found.causes[0].cause.endswith("_other"):
        assert "Nothing on the list fits well" in found.statement
    named = [c for c in found.causes if c.low >= 0.80 and not c.cause.endswith("_other")]
    assert found.decided == (len(named) >= (2 if found.two_causes >= 0.5 else 1))


def test_other_alone_is_never_decided():
    record = KNOWLEDGE.families["electrical"]
    other = next(c.id for c in record.causes if c.id.endswith("_other"))
    found = odds("electrical", evidence(support=("electrical", {other: 9.0})))
    assert found.causes[0].cause == other
    assert found.causes[0].probability > 0.9
    assert not found.decided
    assert "it is something else" in found.statement


def test_what_the_other_complaint_says_stands_in_the_why():
    pieces = {
        "fuel_low": evidence(("f_relief", "positive")),
        "vib_load": evidence(),
        "electrical": evidence(),
    }
    found = odds_for(KNOWLEDGE.families["vib_load"], pieces, KNOWLEDGE)
    rough = next(c for c in found.causes if c.cause == "fuel_air_rough")
    link = next(w for w in rough.why if w.finding == "link")
    name = KNOWLEDGE.families["fuel_low"].name
    assert name in link.words
    assert speaks(link.effect) in link.words
    joined = case_beliefs(pieces, KNOWLEDGE)["vib_load"]
    rest = {f: e for f, e in pieces.items() if f != "fuel_low"}
    without = case_beliefs(rest, KNOWLEDGE)["vib_load"]
    number = joined.causes.index("fuel_air_rough")
    change = log_odds(joined.marginals())[number] - log_odds(without.marginals())[number]
    assert link.effect == pytest.approx(change)
    assert not any(w.finding == "link" for w in odds("vib_load", pieces["vib_load"]).causes[0].why)


def test_a_truck_that_is_well_is_not_called_unexplained():
    unexplained = Finding(
        code="made_up",
        sentence="A model that does not fit.",
        outcome="inconclusive",
        evidence=Rests(recording="0" * 64),
        method="test/1",
        support=(Support("fuel_low", {}),),
        details=ModelRefused(fits=False),
        stage=1,
    )
    before = Stage(tests=(TestResult("f_sight", "positive"),))
    after = Stage(
        work=Work("air_ingress"),
        tests=(TestResult("f_sight", "negative"),),
        findings=(unexplained,),
        outcomes=(Outcome(True),),
    )
    found = odds("fuel_low", StagedEvidence(stages=(before, after)))
    assert not found.fits
    assert found.statement.startswith("Nothing points to a fault any more")
    assert "Measure the same points once more" in found.statement
    worse = odds("fuel_low", StagedEvidence(stages=(Stage(findings=(unexplained,)),)))
    assert worse.statement.startswith("Nothing on the list fits")
