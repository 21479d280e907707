"""An assessment as the JSON that the commands print: user's units, stable names."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

from witnessmark.model.details.reading_details import AgainstBand
from witnessmark.model.dossier import Dossier
from witnessmark.model.finding import Finding, OperatingPoint
from witnessmark.model.known import Known
from witnessmark.model.odds import Odds
from witnessmark.model.problem import Problem
from witnessmark.model.proof import Pair, Proof
from witnessmark.model.step import Forecast, OverriddenStop, Spread, Step
from witnessmark.units import QUANTITIES, UNITS, display_unit, from_house

__all__ = ["assessment_json", "finding_json", "problem_json", "shown"]


def assessment_json(assessment: Dossier, *, si: bool = False) -> dict[str, Any]:
    """Return the whole assessment as JSON types."""
    return {
        "case": {
            "id": assessment.case.id,
            "entries": len(assessment.case.entries),
            "stage": sum(1 for e in assessment.case.live() if e.kind == "work"),
            "retracted": sorted(assessment.case.retracted()),
        },
        "problems": [problem_json(p) for p in assessment.problems],
        "findings": [finding_json(f, si=si) for f in assessment.findings],
        "known": [_known(k) for k in assessment.known],
        "odds": [_odds(o) for o in assessment.odds],
        "next": [_step(s, si) for s in assessment.steps],
        "stops": [_stop(s) for s in assessment.steps if s.kind == "safety"],
        "stops_overridden": [_overridden(o) for o in assessment.overridden],
        "drive": assessment.drive,
        "does_not_run": assessment.does_not_run,
        "decisions": [
            {**asdict(d), "branches": [asdict(b) for b in d.branches]} for d in assessment.decisions
        ],
        "why_no_step": assessment.why_no_step(),
        "proof": [_proof(p, si) for p in assessment.proofs],
        "packs": dict(assessment.packs),
    }


def problem_json(problem: Problem) -> dict[str, str]:
    """Return a problem as JSON types."""
    return {"where": problem.where, "what": problem.what, "do": problem.do}


def shown(
    quantity: str | None, value: float | None, *, si: bool = False, difference: bool = False
) -> float | None:
    """Return a house value in the unit it is shown in; a difference drops the unit's offset."""
    if value is None or not math.isfinite(value):
        return None
    if quantity is None or quantity not in QUANTITIES:
        return round(value, 6)
    unit = display_unit(quantity, si=si)
    if difference:
        return _rounded(value * UNITS[QUANTITIES[quantity].house].factor / UNITS[unit].factor)
    return _rounded(from_house(quantity, value, unit))


def finding_json(finding: Finding, *, si: bool = False) -> dict[str, Any]:
    """Return a finding as JSON types, in the units that are shown."""
    difference = bool(finding.details.difference)

    def out(value: float | None) -> float | None:
        return shown(finding.quantity, value, si=si, difference=difference)

    evidence: list[Any] = list(finding.evidence.entries)
    if finding.evidence.recording is not None:
        evidence.append({
            "recording": finding.evidence.recording,
            "channel": finding.evidence.channel,
            "start_s": finding.evidence.start_s,
            "end_s": finding.evidence.end_s,
        })  # fmt: skip
    return {
        "code": finding.code,
        "sentence": finding.sentence,
        "outcome": finding.outcome,
        "reason": finding.reason,
        "quantity": finding.quantity,
        "value": out(finding.value),
        "unit": _unit(finding, si),
        "low": out(finding.low),
        "high": out(finding.high),
        "coverage": finding.coverage,
        "point": _point(finding.point),
        "evidence": evidence,
        "method": finding.method,
        "source": finding.source,
        "stage": finding.stage,
        "details": _details(finding, si),
    }


def _known(known: Known) -> dict[str, Any]:
    return {
        "entry": known.entry,
        "kind": known.kind,
        "what": known.what,
        "stage": known.stage,
        "used": known.used,
        "sentence": known.sentence,
        "verdict": known.verdict,
        "causes": [
            {"cause": m.cause, "name": m.name, "effect": _rounded(m.effect), "words": m.words}
            for m in known.moved
        ],
        "stops_raised": list(known.raised),
        "stops_lifted": list(known.lifted),
        "findings": list(known.findings),
    }


def _odds(odds: Odds) -> dict[str, Any]:
    return {
        "family": odds.family,
        "complaint": odds.complaint,
        "decided": odds.decided,
        "statement": odds.statement,
        "fits": odds.fits,
        "traps": list(odds.traps),
        "scope": odds.scope,
        "zones": [{"zone": zone, "probability": _rounded(p)} for zone, p in odds.zones],
        "causes": [
            {
                "cause": c.cause,
                "name": c.name,
                "zone": c.zone,
                "strength": c.strength,
                "probability": _rounded(c.probability),
                "low": _maybe(c.low),
                "high": _maybe(c.high),
                "before": _maybe(c.before),
                "together": _rounded(c.together),
                "why": [
                    {"finding": w.finding, "effect": _rounded(w.effect), "words": w.words,
                     "entries": list(w.entries)}
                    for w in c.why
                ],
                "looks_like": list(c.looks_like),
                "would_change": list(c.would_change),
            }
            for c in odds.causes
        ],
        "two_causes": _rounded(odds.two_causes),
        "none_listed": _rounded(odds.none_listed),
        "nothing_wrong": _rounded(odds.nothing_wrong),
        "not_on_list": _rounded(odds.none_listed - odds.nothing_wrong),
        "effective_samples": odds.effective_samples,
        "assumptions": list(odds.assumptions),
        "packs": dict(odds.packs or {}),
        "stage": odds.stage,
    }  # fmt: skip


def _stop(step: Step) -> dict[str, Any]:
    return {
        "stop": step.step,
        "family": step.family,
        "say": step.name,
        "until": step.until,
        "checks": list(step.checks),
        "drive": step.drive,
        "evidence": list(step.evidence),
    }


def _overridden(told: OverriddenStop) -> dict[str, str]:
    return {
        "stop": told.stop,
        "say": told.said,
        "step": told.step,
        "did": told.did,
        "by": told.by,
        "at": told.at,
        "because": told.reason,
        "entry": told.entry,
    }


def _step(step: Step, si: bool) -> dict[str, Any]:
    return {
        "step": step.step,
        "kind": step.kind,
        "family": step.family,
        "also": list(step.also),
        "along": list(step.along),
        "name": step.name,
        "minutes": step.minutes.typical,
        "minutes_range": _spread(step.minutes),
        "usd": step.usd.typical,
        "usd_range": _spread(step.usd),
        "expected_total_usd": _rounded(step.expected_total_usd),
        "why": step.why,
        "access": step.access,
        "needs": list(step.needs),
        "cautions": list(step.cautions),
        "must_renew": list(step.must_renew),
        "results": [
            {"result": r.result, "words": r.words, "means": r.means,
             "probability": _rounded(r.probability),
             "leads": [{"cause": c, "probability": _rounded(p)} for c, p in r.leads]}
            for r in step.results
        ],
        "forecast": [_forecast(f, si) for f in step.forecast],
        "proof": step.proof,
        **({"forbids": list(step.forbids)} if step.forbids else {}),
    }  # fmt: skip


def _proof(proof: Proof, si: bool) -> dict[str, Any]:
    return {
        "complaint": proof.complaint,
        "family": proof.family,
        "verdict": proof.verdict,
        "sentence": proof.sentence,
        "missing": list(proof.missing),
        "pairs": [_pair(p, si) for p in proof.pairs],
    }


def _pair(pair: Pair, si: bool) -> dict[str, Any]:
    def out(value: float | None, *, difference: bool = False) -> float | None:
        return shown(pair.quantity, value, si=si, difference=difference)

    return {
        "quantity": pair.quantity,
        "point": _point(pair.point),
        "before": out(pair.before),
        "after": out(pair.after),
        "unit": display_unit(pair.quantity, si=si),
        "difference": out(pair.difference, difference=True),
        "low": out(pair.low, difference=True),
        "high": out(pair.high, difference=True),
        "provable": out(pair.provable, difference=True),
        "shown": pair.shown,
        "spec": pair.spec,
        "conformity": pair.conformity if pair.conformity is None else _rounded(pair.conformity),
        "band": None if pair.band is None else [out(end) for end in pair.band],
        "band_source": pair.band_source,
        "evidence": list(pair.evidence),
    }


def _forecast(forecast: Forecast, si: bool) -> dict[str, Any]:
    def out(value: float) -> float | None:
        return shown(forecast.quantity, value, si=si)

    return {
        "quantity": forecast.quantity,
        "point": _point(forecast.point),
        "value": out(forecast.value),
        "low": out(forecast.low),
        "high": out(forecast.high),
        "unit": display_unit(forecast.quantity, si=si),
        "in_band": forecast.in_band,
        "words": forecast.words,
    }


def _point(point: OperatingPoint | None) -> dict[str, Any] | None:
    if point is None:
        return None
    found = {"rpm": point.rpm, "load": point.load, "gear": point.gear, "warm": point.warm,
             "engine": point.engine}  # fmt: skip
    return {name: value for name, value in found.items() if value is not None}


def _spread(spread: Spread) -> list[float]:
    return [spread.low, spread.typical, spread.high]


def _unit(finding: Finding, si: bool) -> str:
    if finding.quantity is not None and finding.quantity in QUANTITIES:
        return display_unit(finding.quantity, si=si)
    return finding.unit


def _details(finding: Finding, si: bool) -> dict[str, Any]:
    found: dict[str, Any] = finding.details.to_json()
    if isinstance(finding.details, AgainstBand):
        for end in ("band_low", "band_high"):
            found[end] = shown(finding.quantity, found[end], si=si)
    return found


def _maybe(value: float | None) -> float | None:
    return None if value is None else _rounded(value)


def _rounded(value: float) -> float:
    return float(f"{value:.6g}")
