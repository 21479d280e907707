"""Pictures of a case for the page: SVG text drawn by the report's room, handed to the doors."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from witnessmark.model.dossier import Dossier
from witnessmark.model.finding import Finding
from witnessmark.report.pictures import fuel
from witnessmark.report.pictures import shake_spectra as vibration
from witnessmark.report.pictures.before_after_rows import before_after_pictures
from witnessmark.report.pictures.judged_trace import plausibility_picture
from witnessmark.report.pictures.stepped_together import together_picture

__all__ = ["finding_pictures", "proof_pictures"]


def _vibration(finding: Finding, assessment: Dossier, si: bool) -> str:
    """Draw what belongs to a vibration or damper finding; its units are SI anyway."""
    del assessment, si
    return next(iter(vibration.for_finding(finding)), "")


def _fuel(finding: Finding, assessment: Dossier, si: bool) -> str:
    """Draw the gallery readings in the healthy band with the best explanations."""
    del assessment
    return fuel.for_finding(finding, si=si)


def _plausibility(finding: Finding, assessment: Dossier, si: bool) -> str:
    """Draw the trace behind a finding on whether a sensor or its circuit moved."""
    del assessment
    return plausibility_picture(finding, si=si)


def _together(finding: Finding, assessment: Dossier, si: bool) -> str:
    """Draw which channels stepped at the same instants."""
    del assessment, si
    return together_picture(finding)


#: First part of a finding's code -> what draws it: (finding, assessment, si) -> SVG or nothing.
DRAWN_BY: Mapping[str, Callable[[Finding, Dossier, bool], str]] = {
    "fuel_supply_model": _fuel,
    "vibration": _vibration,
    "damper_twist": _vibration,
    "cylinder_balance": _vibration,
    "sensors_step_together": _together,
    "coolant_temperature": _plausibility,
    "oil_temperature": _plausibility,
    "transmission_oil_temperature": _plausibility,
    "fuel_temperature": _plausibility,
    "ambient_temperature": _plausibility,
    "air_inlet_temperature": _plausibility,
    "intake_air_temperature": _plausibility,
    "oil_pressure": _plausibility,
    "fuel_delivery_pressure": _plausibility,
    "boost_pressure": _plausibility,
}


def finding_pictures(assessment: Dossier, *, si: bool = False) -> dict[int, str]:
    """Return position of a finding -> its picture, for those that have one."""
    drawn = {}
    for place, finding in enumerate(assessment.findings):
        for prefix, draw in DRAWN_BY.items():
            if finding.code.startswith(prefix):
                picture = draw(finding, assessment, si)
                if picture:
                    drawn[place] = picture
                break
    return drawn


def proof_pictures(assessment: Dossier, *, si: bool = False) -> dict[str, list[str]]:
    """Return complaint -> the pictures of its before and after, one a quantity."""
    return {
        proof.complaint: [svg for _, svg in before_after_pictures(proof.pairs, si=si)]
        for proof in assessment.proofs
        if any(pair.before is not None and pair.after is not None for pair in proof.pairs)
    }
