"""A family of a shop's own, worked through against a check value computed by hand."""

from __future__ import annotations

import json

import pytest

from witnessmark.inference import family_belief
from witnessmark.inference.family.staged_evidence import StagedEvidence
from witnessmark.knowledge import load_knowledge

CAUSE = """
[[causes]]
id = "{id}"
name = "{id}"
zone = "all"
share = {share}
access = [1, 1, 1]
minutes = [10, 20, 30]
parts_usd = [0, 10, 20]
renew_with = []
p_cured_if_cause = 0.95
p_cured_if_not = 0.02
damage_risk = ""
caution = ""
proof = "measure again"
source = "check"
"""

PACK = """
schema = "witnessmark.pack/1.0"
name = "two_faults"
title = "Two faults"
version = "1"
[sources.check]
kind = "handbook"
words = "constructed"
[family]
id = "two_faults"
name = "Two faults"
complaint_words = "it does it again"
safety = "the usual"
proof = "measure again"
operating_points = ["idle"]
second_cause = 1e-12
none_listed = 1e-12
zones = [{ id = "all", name = "All" }]
source = "check"
"""

TEST = """
[[tests]]
id = "two_look"
name = "Look"
positive = "seen"
points = ["idle"]
instrument = "eyes"
minutes = [1, 2, 3]
usd = [0, 0, 0]
access = 1
mistake = 1e-12
base = 0.5
given = { two_first = 0.9, two_second = 0.15 }
source = "check"
"""


def test_two_faults_and_one_test_give_the_check_values(shared, tmp_path):
    # checks.json D-test: P = 0.6/0.4, sensitivity 0.9, specificity 0.85: P(+) = 0.6 and the
    # first fault stands at 0.9 after a positive, 0.15 after a negative (Bayes, derived).
    checks = json.loads((shared / "checks" / "checks.json").read_text(encoding="utf-8"))
    _, seen, after_positive, after_negative, _ = next(
        c["expected"] for c in checks if c["id"] == "D-test"
    )
    pack = tmp_path / "two.toml"
    pack.write_text(
        PACK
        + CAUSE.format(id="two_first", share=0.6)
        + CAUSE.format(id="two_second", share=0.4)
        + TEST,
        encoding="utf-8",
    )
    knowledge = load_knowledge([pack])
    family = knowledge.families["two_faults"]
    belief = family_belief(family, StagedEvidence(), conditions=knowledge.conditions)
    look = family.test("two_look")
    assert belief.marginals() == pytest.approx([0.6, 0.4], abs=1e-9)
    assert belief.outcome_probabilities(look)[0] == pytest.approx(seen, abs=1e-9)
    assert belief.after_test(look, "positive").marginals()[0] == pytest.approx(
        after_positive, abs=1e-9
    )
    assert belief.after_test(look, "negative").marginals()[0] == pytest.approx(
        after_negative, abs=1e-9
    )
