"""Readings against their band, with the gauge's accuracy: inside, outside or cannot tell."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from witnessmark.analyses.an_analysis import Bench, Reading
from witnessmark.analyses.readings.instruments import uncertainty_of
from witnessmark.knowledge.records import Band
from witnessmark.model.details.reading_details import AgainstBand
from witnessmark.model.finding import Evidence, Finding, Outcome
from witnessmark.physics.conformity import conformity_probability, conformity_verdict
from witnessmark.units import QUANTITIES, display_unit, from_house, spoken

__all__ = ["NEEDS", "NO_LOAD", "Checked", "analyse", "check_reading"]

NEEDS = ("a reading with its operating point, and a band of the pack for that point",)
METHOD = "specification/1"
#: Why a reading was not judged whose load was not written down.
NO_LOAD = "the load was not written down"


@dataclass(frozen=True, slots=True)
class Checked:
    """A reading held against its band; house units.

    Attributes:
        verdict: inside, outside or cannot tell.
        probability: of conformity; on an assumption when *unless* says so.
        low: lower end of the band.
        high: upper end.
        u: standard uncertainty of the reading.
        source: where the band comes from.
        unless: what had to be assumed for the band to be valid; empty when nothing was.
    """

    verdict: Literal["inside", "outside", "cannot tell"]
    probability: float
    low: float | None
    high: float | None
    u: float
    source: str
    unless: str = ""


def check_reading(bench: Bench, reading: Reading) -> Checked | None:
    """Hold a reading against the band of its quantity at its operating point.

    Source of the rule: JCGM 106:2012, clause 7 (probability of conformity); a verdict is spoken
    from odds of two to one on. A load that was not written down is missing, not zero: the
    verdict is then "cannot tell", with the probability there would be without load. Returns
    ``None`` where no band is known for that point.
    """
    band, unless = _band(bench, reading), ""
    if band is None and reading.point.load is None:
        band = _band(bench, replace(reading, point=replace(reading.point, load=0.0)))
        unless = NO_LOAD
    if band is None:
        return None
    spread = uncertainty_of(reading.data)
    probability = conformity_probability(reading.value, spread.u, band.low, band.high)
    verdict = "cannot tell" if unless else conformity_verdict(probability)
    source = f"{band.words}; {band.source.kind}: {band.source.words}"
    return Checked(verdict, probability, band.low, band.high, spread.u, source, unless)


def _band(bench: Bench, reading: Reading) -> Band | None:
    truck = bench.case.truck()
    supply = truck.engine.fuel_supply if truck is not None else None
    if supply in {None, "unknown"} and reading.data.quantity.startswith("fuel_gallery"):
        supply = "gallery"  # whoever reads a gallery pressure has a gallery
    found = bench.knowledge.bands_at(
        reading.data.quantity,
        reading.point,
        fuel_supply=supply,
        engine_type=truck.engine.type if truck is not None else None,
    )
    return found[0] if found else None


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return one finding for every live reading that has a band."""
    found = []
    for reading in bench.readings():
        checked = check_reading(bench, reading)
        if checked is not None:
            found.append(_finding(reading, checked))
    return tuple(found)


def _finding(reading: Reading, checked: Checked) -> Finding:
    name = reading.data.quantity
    unit = display_unit(name)
    value = from_house(name, reading.value, unit)
    outcome: Outcome = {"inside": "not_seen", "outside": "seen"}.get(  # type: ignore[assignment]
        checked.verdict, "inconclusive"
    )
    return Finding(
        code=f"{name}_out_of_band",
        sentence=f"{spoken(name, leading=True)} {value:.4g} {unit} at "
        f"{reading.point.words()} is {_words(reading, checked, unit)}",
        outcome=outcome,
        reason=_reason(checked),
        quantity=name,
        value=reading.value,
        unit=QUANTITIES[name].house,
        low=reading.value - 2 * checked.u,
        high=reading.value + 2 * checked.u,
        coverage=0.95,
        point=reading.point,
        evidence=Evidence(entries=(reading.entry.id,)),
        method=METHOD,
        source=checked.source,
        stage=reading.stage,
        details=AgainstBand(
            verdict=checked.verdict,
            conformity=checked.probability,
            band_low=checked.low,
            band_high=checked.high,
        ),
    )


def _reason(checked: Checked) -> str:
    if checked.verdict != "cannot tell":
        return ""
    return checked.unless or "the gauge cannot tell at this distance from the limit"


def _words(reading: Reading, checked: Checked, unit: str) -> str:
    name = reading.data.quantity
    low, high = (
        None if end is None else from_house(name, end, unit) for end in (checked.low, checked.high)
    )
    band = (
        f"{low:.3g} to {high:.3g} {unit}"
        if low is not None and high is not None
        else f"at least {low:.3g} {unit}"
        if low is not None
        else f"at most {high:.3g} {unit}"
    )
    if checked.verdict == "inside":
        return f"inside the band ({band})."
    if checked.unless:
        side = "inside" if checked.probability >= 0.5 else "outside"
        return f"not judged: {checked.unless}; without load it would be {side} the band ({band})."
    if checked.verdict == "cannot tell":
        return f"too near the limit to tell ({band})."
    low_side = checked.low is not None and reading.value < checked.low
    return f"{'low' if low_side else 'high'}: outside the band ({band})."
