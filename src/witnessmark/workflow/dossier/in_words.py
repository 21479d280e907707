"""An assessment as plain text for the terminal, read from top to bottom."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from witnessmark.model.dossier import Dossier
from witnessmark.model.odds import CauseOdds, Odds
from witnessmark.model.proof import Pair, Proof
from witnessmark.model.step import Step
from witnessmark.units import display_unit
from witnessmark.words.numbers import chance_band, chance_words
from witnessmark.workflow.dossier.as_json import shown

__all__ = ["assessment_text"]

_WIDTH = 96
_MARKS = {"seen": "●", "not_seen": "○", "inconclusive": "◐", "not_run": "·"}
_WORDS = {"seen": "seen", "not_seen": "looked for, not seen", "inconclusive": "cannot tell",
          "not_run": "not run"}  # fmt: skip


def assessment_text(assessment: Dossier, *, si: bool = False) -> str:
    """Return the assessment as text, about 96 columns wide."""
    return "\n".join(_lines(assessment, si)) + "\n"


def _lines(assessment: Dossier, si: bool) -> Iterator[str]:
    case = assessment.case
    truck = case.truck()
    yield f"CASE {case.id}" + (f" · {truck.label}" if truck is not None else "")
    for entry, complaint in case.complaints():
        families = ", ".join(complaint.families) or "no family named"
        yield from _wrap(f"Complaint {entry.id}: “{complaint.words}” ({families})")
    if assessment.problems:
        yield from _title("PROBLEMS IN THE MATERIAL")
        for problem in assessment.problems:
            yield from _wrap(f"! {problem.where}: {problem.what} {problem.do}")
    yield from _title("WHAT IS KNOWN")
    if not assessment.findings:
        yield "  Nothing measured yet."
    for finding in assessment.findings:
        reason = f" ({finding.reason})" if finding.reason else ""
        yield from _wrap(
            f"{_MARKS[finding.outcome]} {finding.sentence} [{_WORDS[finding.outcome]}{reason}]"
        )
    for odds in assessment.odds:
        yield from _odds(odds)
    yield from _title("DO NEXT")
    if not assessment.steps:
        yield from _wrap(assessment.why_no_step())
    stops = sum(step.kind == "safety" for step in assessment.steps)
    for number, step in enumerate(assessment.steps[: stops + 3]):
        yield from _step(step, first=number <= stops)
    yield from _title("PROOF")
    if not assessment.proofs:
        yield "  No complaint to prove."
    for proof in assessment.proofs:
        yield from _proof(proof, si)
    yield ""
    yield from _wrap(
        "Odds rest on the packs' judgement until the shop's own history replaces it. "
        "Defer to the maker's manual, local code and licensed practice."
    )


def _odds(odds: Odds) -> Iterator[str]:
    yield from _title(f"ODDS · {odds.family}")
    if odds.statement:
        yield from _wrap(odds.statement)
    zones = " · ".join(f"{zone} {chance_words(p)}" for zone, p in odds.zones[:6])
    if zones:
        yield from _wrap(f"Where: {zones}")
    for trap in odds.traps:
        yield from _wrap(f"Easy to get wrong: {trap}")
    for cause in odds.causes[:6]:
        yield from _cause(cause)
    yield (
        f"  two or more causes {chance_words(odds.two_causes)}, none of the listed "
        f"{chance_words(odds.none_listed)}"
    )
    for assumption in odds.assumptions:
        yield from _wrap(f"({assumption})")


def _cause(cause: CauseOdds) -> Iterator[str]:
    band = chance_band(cause.low, cause.high) if cause.probability >= 0.05 else ""
    band = f" ({band})" if band else ""
    yield f"  {chance_words(cause.probability):>9}  {cause.name} [{cause.cause}]{band}"
    why = [w for w in cause.why if abs(w.effect) >= 0.05][:4]
    if why:
        parts = "; ".join(f"{w.words or w.finding} ({w.effect:+.1f})" for w in why)
        yield from _wrap(f"because {parts}", "         ")
    if cause.looks_like:
        yield from _wrap(f"looks the same as: {', '.join(cause.looks_like)}", "         ")
    for reading in cause.would_change[:1]:
        yield from _wrap(f"would change it: {reading}", "         ")


def _step(step: Step, *, first: bool) -> Iterator[str]:
    lead = "→ " if first else "  or "
    figures = (
        f" · {step.minutes.typical:.0f} min, ${step.usd.typical:.0f} · expected total to a proven "
        f"cure ${step.expected_total_usd:.0f}"
    )
    yield from _wrap(
        f"{lead}{step.kind.upper()}: {step.name} [{step.step}]"
        f"{'' if step.kind == 'safety' else figures}"
    )
    if step.why:
        yield from _wrap(step.why, "     ")
    if first:
        for need in step.needs:
            yield from _wrap(f"needs: {need}", "     ")
        for caution in step.cautions:
            yield from _wrap(f"CAUTION: {caution}", "     ")
        if step.must_renew:
            yield from _wrap(f"renew with it: {', '.join(step.must_renew)}", "     ")
        for forecast in step.forecast:
            yield from _wrap(f"forecast: {forecast.words}", "     ")


def _proof(proof: Proof, si: bool) -> Iterator[str]:
    yield from _wrap(f"{proof.complaint}: {proof.verdict.upper()}. {proof.sentence}")
    for pair in proof.pairs:
        yield from _wrap(_pair(pair, si), "     ")
    for item in proof.missing:
        yield from _wrap(f"missing: {item}", "     ")


def _pair(pair: Pair, si: bool) -> str:
    unit = display_unit(pair.quantity, si=si)

    def say(value: float | None) -> str:
        out = shown(pair.quantity, value, si=si)
        return "not measured" if out is None else f"{out:.4g}"

    text = (
        f"{pair.quantity.replace('_', ' ')} at {pair.point.words()}: "
        f"{say(pair.before)} → {say(pair.after)} {unit}"
    )
    if pair.difference is not None:
        step, low, high = (
            shown(pair.quantity, v, si=si, difference=True) or 0.0
            for v in (pair.difference, pair.low, pair.high)
        )
        text += f", {step:+.3g} ({low:+.3g} to {high:+.3g})"
        text += "" if pair.shown else ", no change shown"
    if pair.spec != "no band" and pair.conformity is not None:
        text += f"; {pair.spec} the band ({chance_words(pair.conformity)})"
    return text


def _title(text: str) -> Iterator[str]:
    yield ""
    yield text


def _wrap(text: str, indent: str = "  ") -> Iterator[str]:
    yield from textwrap.wrap(
        text, _WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_long_words=False
    )
