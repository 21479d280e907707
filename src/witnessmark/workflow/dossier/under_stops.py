"""What a standing safety stop forbids is not asked for anywhere: readings, road points, proof."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from witnessmark.analyses.road.road_test import under_stops
from witnessmark.knowledge import Knowledge
from witnessmark.model.finding import Finding
from witnessmark.model.odds import Odds
from witnessmark.model.proof import Proof
from witnessmark.model.step import Step, forbidden_by
from witnessmark.words.say import odds as say

__all__ = ["findings_under", "odds_under", "proofs_under"]

#: What a request for the proof needs, by its words.
_ROAD = re.compile(r"\b(pull|road|loaded|hill|recording|recorded|miles?|mi)\b", re.I)
_STANDING = re.compile(
    r"customer's word|no work has been done|names no family|mornings|level", re.I
)


def findings_under(
    findings: Sequence[Finding], stops: Sequence[Step], knowledge: Knowledge
) -> tuple[Finding, ...]:
    """Return the findings without a word of what the stops forbid to drive."""
    return tuple(under_stops(f, stops, knowledge) for f in findings) if stops else tuple(findings)


def odds_under(odds: Odds, stops: Sequence[Step], knowledge: Knowledge) -> Odds:
    """Return the odds without the readings to offer, and the check to settle it, they forbid."""
    family = knowledge.families.get(odds.family)
    if family is None or not stops:
        return odds
    tests = [t for t in family.tests if forbidden_by(stops, t.id, t.demands) is not None]
    barred = tuple(f"{t.name}: " for t in tests)
    said = odds.statement
    for test in tests:
        for settles in (say.decides, say.tells_most):
            said = said.replace(settles(test.name, test.minutes.typical), say.check_waits())
    causes = tuple(
        replace(c, would_change=tuple(w for w in c.would_change if not w.startswith(barred)))
        for c in odds.causes
    )
    return replace(odds, causes=causes, statement=said)


def proofs_under(proof: Proof, stops: Sequence[Step]) -> Proof:
    """Return the proof with what the stops forbid asked for only once they are lifted."""
    if proof.verdict == "proven" or not stops:
        return proof
    missing = tuple(
        f"once the safety stop is lifted: {item}"
        if forbidden_by(stops, "", _needs(item)) is not None
        else item
        for item in proof.missing
    )
    return replace(proof, missing=missing)


def _needs(item: str) -> tuple[str, ...]:
    if _ROAD.search(item):
        return ("road",)
    return () if _STANDING.search(item) else ("running",)
