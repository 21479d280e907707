"""Findings to odds: exact over every set of causes, with the why of every finding."""

from witnessmark.inference.belief import Belief, FamilyModel, family_belief
from witnessmark.inference.evidence import Evidence, family_evidence
from witnessmark.inference.odds import case_beliefs, case_evidence, case_odds, odds_for

__all__ = [
    "Belief",
    "Evidence",
    "FamilyModel",
    "case_beliefs",
    "case_evidence",
    "case_odds",
    "family_belief",
    "family_evidence",
    "odds_for",
]
