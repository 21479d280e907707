"""Findings to odds: exact over every set of causes, with the why of every finding."""

from witnessmark.inference.family.family_belief import Belief, FamilyModel, family_belief
from witnessmark.inference.family.staged_evidence import StagedEvidence, family_evidence
from witnessmark.inference.odds.case_odds import case_beliefs, case_evidence, case_odds, odds_for

__all__ = [
    "Belief",
    "FamilyModel",
    "StagedEvidence",
    "case_beliefs",
    "case_evidence",
    "case_odds",
    "family_belief",
    "family_evidence",
    "odds_for",
]
