"""What is said of a case as a whole."""

from __future__ import annotations

from witnessmark.words.catalogue import sentence

_RANGES = {
    "inside": "inside the good range",
    "outside": "outside the good range",
    "cannot tell": "too close to call",
    "no band": "no good range known",
}


@sentence("case.judgement")
def judgement() -> str:
    """Say what the words rest on."""
    return (
        "How sure we are is judgement until your shop's own history replaces it. "
        "The maker's manual, local code and licensed practice come first."
    )


@sentence("case.nothing_measured")
def nothing_measured() -> str:
    """Say that nothing was measured."""
    return "Nothing measured yet."


@sentence("case.against_range", verdict="inside")
def against_range(verdict: str) -> str:
    """Say how a value lies against its good range."""
    return _RANGES.get(verdict, verdict)
