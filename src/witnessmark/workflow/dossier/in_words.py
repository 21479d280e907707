"""An assessment as plain text for the terminal, read from top to bottom."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from witnessmark.model.decision import Decision
from witnessmark.model.dossier import Dossier
from witnessmark.model.odds import CauseOdds, Odds
from witnessmark.model.proof import Pair, Proof
from witnessmark.model.step import Step
from witnessmark.units import display_unit
from witnessmark.words.numbers import chance_band, chance_words, none_of_them
from witnessmark.words.say import decision as say_decision
from witnessmark.words.say import dossier as words
from witnessmark.words.say import known as say_known
from witnessmark.words.say import stops as say_stops
from witnessmark.words.say.odds import factor
from witnessmark.words.strength import NOT_LIKELY, capital, listed, speaks
from witnessmark.workflow.dossier.as_json import shown

__all__ = ["assessment_text"]

_WIDTH = 96
#: Entries that are told one by one, besides those that did nothing.
_EACH = 12
_MARKS = {"seen": "●", "not_seen": "○", "inconclusive": "◐", "not_run": "·"}
_WORDS = {"seen": "seen", "not_seen": "looked for, not seen", "inconclusive": "cannot tell",
          "not_run": "not run"}  # fmt: skip


def assessment_text(assessment: Dossier, *, si: bool = False, numbers: bool = False) -> str:
    """Return the assessment as text, about 96 columns wide.

    Args:
        assessment: the dossier.
        si: show SI units.
        numbers: how sure in numbers too, with ids and expected totals, below the words.
    """
    return "\n".join(_lines(assessment, si, numbers)) + "\n"


def _lines(assessment: Dossier, si: bool, numbers: bool) -> Iterator[str]:
    case = assessment.case
    truck = case.truck()
    yield f"CASE {case.id}" + (f" · {truck.label}" if truck is not None else "")
    place = {entry.id: number for number, (entry, _) in enumerate(case.complaints(), start=1)}
    for entry, complaint in case.complaints():
        families = listed([f.replace("_", " ") for f in complaint.families], "and")
        yield from _wrap(
            f"Complaint {place[entry.id]}: “{complaint.words}” ({families or 'no family named'})"
        )
    if assessment.problems:
        yield from _title("PROBLEMS IN THE MATERIAL")
        for problem in assessment.problems:
            yield from _wrap(f"! {problem.where}: {problem.what} {problem.do}")
    if assessment.findings or not assessment.known:
        yield from _title("WHAT IS KNOWN")
    if not (assessment.findings or assessment.known):
        yield from _wrap(words.nothing_measured())
    for finding in assessment.findings:
        reason = f" ({finding.reason})" if finding.reason else ""
        yield from _wrap(
            f"{_MARKS[finding.outcome]} {finding.sentence} [{_WORDS[finding.outcome]}{reason}]"
        )
    yield from _each(assessment)
    for odds in assessment.odds:
        yield from _thought(odds)
    yield from _title("DO NEXT")
    if not assessment.steps:
        yield from _wrap(assessment.why_no_step())
    for o in assessment.overridden:
        told = say_stops.overridden(o.said, o.did, o.by, o.at[:10], o.reason)
        yield from _wrap(f"! {told} {say_stops.overridden_lifts_nothing()}")
    if assessment.does_not_run:
        yield from _wrap(f"! {say_stops.does_not_run(assessment.does_not_run)}")
    stops = len(assessment.stops)
    for number, step in enumerate(assessment.steps[: stops + 3]):
        yield from _step(step, assessment.decision_of(step), first=number <= stops)
    yield from _title("PROOF")
    if not assessment.proofs:
        yield "  No complaint to prove."
    for proof in assessment.proofs:
        yield from _proof(proof, place.get(proof.complaint, 0), si)
    if numbers:
        yield from _in_numbers(assessment)
    yield ""
    yield from _wrap(words.judgement())


def _each(assessment: Dossier) -> Iterator[str]:
    """Yield what was entered and what it did, what did nothing first: nothing is passed over."""
    rows = sorted(assessment.known, key=lambda known: known.used)
    idle = sum(not known.used for known in rows)
    if rows:
        yield from _title("WHAT EACH ENTRY DID")
    for known in rows[: max(_EACH, idle)]:
        yield from _wrap(f"{known.what}: {known.sentence}")
    if len(rows) > max(_EACH, idle):
        yield from _wrap(say_known.further(len(rows) - max(_EACH, idle)))


def _thought(odds: Odds) -> Iterator[str]:
    yield from _title(f"WHAT WE THINK · {odds.family.replace('_', ' ')}")
    if odds.statement:
        yield from _wrap(odds.statement)
    for trap in odds.traps:
        yield from _wrap(f"Easy to get wrong: {trap}")
    if odds.scope:
        yield from _wrap(f"Covers: {odds.scope}")
    for cause in odds.causes[:6]:
        if cause.strength != NOT_LIKELY:
            yield from _cause(cause)


def _cause(cause: CauseOdds) -> Iterator[str]:
    yield f"  {capital(cause.strength):>15}  {cause.name}"
    for why in [w for w in cause.why if w.words and speaks(w.effect)][:3]:
        yield from _wrap(f"{capital(why.words)}.", " " * 19)


def _step(step: Step, decided: Decision | None, *, first: bool) -> Iterator[str]:
    lead = "→ " if first else "  or "
    if step.kind == "safety":
        yield from _wrap(f"{lead}STOP: {say_stops.on_paper(step.name, step.until)}")
    else:
        ends = ((step.minutes.low, step.minutes.high), (step.usd.low, step.usd.high))
        figures = f" · {say_decision.range_words(*ends)}"
        yield from _wrap(f"{lead}{step.name}{figures}")
    if step.why:
        yield from _wrap(step.why, "     ")
    if first:
        if decided is not None:
            yield from _tree(decided)
        if step.needs:
            yield from _wrap(f"needs: {', '.join(step.needs)}", "     ")
        for caution in step.cautions:
            yield from _wrap(f"CAUTION: {caution}", "     ")
        if step.must_renew:
            yield from _wrap(f"goes with it, order now: {', '.join(step.must_renew)}", "     ")
        for forecast in step.forecast:
            yield from _wrap(f"forecast: {forecast.words}", "     ")


def _tree(decided: Decision) -> Iterator[str]:
    """Draw what the step decides: its results, and what each would lead to."""
    for number, branch in enumerate(decided.branches, start=1):
        last = number == len(decided.branches)
        said = ": ".join(part for part in (branch.seen, branch.think) if part)
        wide = _WIDTH - 12
        head, *more = [*textwrap.wrap(said, wide), *textwrap.wrap(f"→ {branch.then}", wide)]
        yield f"     {'└' if last else '├'}─ {head}"
        yield from (f"     {' ' if last else '│'}    {line}" for line in more)
    if decided.likely:
        yield from _wrap(f"likely repair: {decided.likely}", "     ")


def _in_numbers(assessment: Dossier) -> Iterator[str]:
    for number, (entry, _) in enumerate(assessment.case.complaints(), start=1):
        yield f"  Complaint {number} is entry {entry.id}."
    for odds in assessment.odds:
        yield from _odds(odds)
    for decided in (d for d in assessment.decisions if d.otherwise):
        yield from _wrap(f"If the likely repair is not it: {decided.otherwise}")
    yield from _title("STEPS IN NUMBERS")
    for step in assessment.steps:
        if step.kind != "safety":
            yield from _wrap(
                f"{step.kind} {step.step}: likely bill to a proven fix "
                f"${step.expected_total_usd:,.0f}"
            )


def _odds(odds: Odds) -> Iterator[str]:
    yield from _title(f"HOW SURE, IN NUMBERS · {odds.family}")
    zones = " · ".join(f"{zone} {chance_words(p)}" for zone, p in odds.zones[:6])
    if zones:
        yield from _wrap(f"Where: {zones}")
    for cause in odds.causes[:8]:
        yield from _cause_in_numbers(cause)
    yield (
        f"  two or more causes {chance_words(odds.two_causes)}, none of the listed "
        f"{none_of_them(odds.none_listed, odds.nothing_wrong)}"
    )
    for assumption in odds.assumptions:
        yield from _wrap(f"({assumption})")


def _cause_in_numbers(cause: CauseOdds) -> Iterator[str]:
    band = chance_band(cause.low, cause.high) if cause.probability >= 0.05 else ""
    band = f" ({band})" if band else ""
    yield f"  {chance_words(cause.probability):>9}  {cause.name} [{cause.cause}]{band}"
    why = [w for w in cause.why if abs(w.effect) >= 0.05][:4]
    if why:
        parts = "; ".join(f"{w.words or w.finding} ({factor(w.effect)})" for w in why)
        yield from _wrap(f"because {parts}", "         ")
    if cause.looks_like:
        yield from _wrap(f"looks the same as: {', '.join(cause.looks_like)}", "         ")
    for reading in cause.would_change[:1]:
        yield from _wrap(f"would change it: {reading}", "         ")


def _proof(proof: Proof, place: int, si: bool) -> Iterator[str]:
    yield from _wrap(f"Complaint {place}: {proof.verdict.upper()}. {proof.sentence}")
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
        text += f"; {words.against_range(pair.spec)}"
    return text


def _title(text: str) -> Iterator[str]:
    yield ""
    yield text


def _wrap(text: str, indent: str = "  ") -> Iterator[str]:
    hanging = " " * len(indent) + ("" if indent.strip() else "  ")
    yield from textwrap.wrap(
        text, _WIDTH, initial_indent=indent, subsequent_indent=hanging, break_long_words=False
    )
