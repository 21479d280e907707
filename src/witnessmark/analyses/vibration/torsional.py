"""The closed crankshaft damper and a weak cylinder, from the timing of a wheel's marks.

The verdict on the damper is model-based and has not been proven on dampers known to be bad. It is
never the sole ground for replacing one; every finding says so.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from witnessmark.analyses.an_analysis import Bench, not_run
from witnessmark.analyses.readings.finding_rows import supports_of
from witnessmark.analyses.vibration.cylinders import cylinder_findings
from witnessmark.analyses.vibration.tooth_recordings import Timing, gather_timings
from witnessmark.analyses.vibration.vibration_drives import vibration_channels
from witnessmark.model.details.shake_details import CrankTwist, TwistCurve
from witnessmark.model.finding import Evidence, Finding, OperatingPoint, Outcome, Support
from witnessmark.physics.vibration.twist.damper_fit import (
    HEALTHY_FROM,
    NOT_DAMPING_BELOW,
    DamperFit,
    judge,
)
from witnessmark.physics.vibration.twist.tooth_timing import Torsion, torsion
from witnessmark.physics.vibration.twist.twist_mode import TwistMode, mode_curve
from witnessmark.physics.vibration.twist.twist_pair import pair_curve

__all__ = ["LABEL", "NEEDS", "analyse"]

NEEDS = (
    "the timing of a wheel on the crankshaft (pickup at the nose or the flywheel, 48 marks or "
    "more) over a slow sweep from 750 to 2100 rpm, engine and damper warm",
)
METHOD = "damper_twist/1"
MODEL = "crank"
#: Its finding, as the packs' finding tables call it.
_TWIST = "damper_twist"
LABEL = "model-based, not yet proven on known-bad dampers, never the sole ground for replacement"
_MARKS, _SPAN, _SPEEDS = 48, 500.0, 10
#: Timing noise of one order's amplitude above which nothing is said [rad]: ten times what a sound
#: card gives at the nose; there the study still tells dead from healthy at 0.98.
_NOISE = 0.02 * math.pi / 180
_PHONE = (
    "A phone or seat accelerometer cannot tell: a dead damper changes the block's roll by less "
    "than 1 dB. Put a pickup on a crankshaft wheel of 48 marks or more, engine warm, and sweep "
    "slowly from 750 to 2100 rpm."
)


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return the damper's verdict and the cylinders' balance for every tooth-timing recording."""
    timings = gather_timings(bench)
    typed = _typed(bench)
    if not timings:
        if typed:
            return tuple(typed)
        if not bench.asks(MODEL):
            return ()
        phone = any(vibration_channels(r) for r in bench.recordings.values())
        sentence = "The crankshaft damper was not measured."
        if phone:
            sentence = "Whether the crankshaft damper works cannot be told from this recording."
        return (not_run("damper_twist", sentence, _PHONE, METHOD, stage=bench.last_stage()),)
    found: list[Finding] = typed
    healthy: dict[str, float] = {}
    fits: list[tuple[Timing, Torsion, DamperFit | None, str]] = []
    for timing in timings:
        if timing.marks is None:
            found.append(
                not_run(
                    "damper_twist", "A tooth-timing recording could not be used.",
                    timing.refused, METHOD, stage=timing.stage,
                )
            )  # fmt: skip
            continue
        try:
            orders = torsion(timing.marks)
        except ValueError as error:
            found.append(
                not_run(
                    "damper_twist", "A tooth-timing recording could not be used.",
                    str(error), METHOD, stage=timing.stage,
                )
            )  # fmt: skip
            continue
        fit, refusal = _fit(timing, orders)
        fits.append((timing, orders, fit, refusal))
        if fit is not None and fit.pair is None and fit.verdict == "healthy":
            healthy.setdefault(timing.place, fit.mode.frequency)
    for timing, orders, fit, refusal in fits:
        found.append(_verdict(bench, timing, orders, fit, refusal, healthy))
    found += cylinder_findings(bench, [(timing, orders) for timing, orders, *_ in fits])
    return tuple(found)


def _typed(bench: Bench) -> list[Finding]:
    """Read what was typed off another instrument: one order's amplitude in degrees.

    Readings are zero to peak. Common practice, from memory, no published limit: 0.2 to 0.3 degrees
    peak to peak in one order raises concern. The odds are kept low: a healthy damper reaches 0.12
    zero to peak in order 6 in the model.
    """
    found = []
    for reading in bench.readings("torsional_amplitude"):
        degrees = math.degrees(reading.value)
        outcome: Outcome = "seen" if degrees >= 0.15 else "not_seen"
        if 0.10 < degrees < 0.15:
            outcome = "inconclusive"
        told = {"seen": "high", "not_seen": "low"}.get(outcome)
        found.append(
            Finding(
                code="torsional_amplitude",
                sentence=f"The crankshaft twists {degrees:.3f} deg zero to peak at "
                f"{reading.point.words()}: "
                + {"seen": "more than", "not_seen": "less than"}.get(outcome, "about")
                + " what raises concern (0.10 to 0.15 in one order).",
                outcome=outcome,
                reason="it lies where opinions differ" if outcome == "inconclusive" else "",
                method="torsional_amplitude/1",
                quantity="torsional_amplitude",
                value=reading.value,
                unit="rad",
                point=reading.point,
                evidence=Evidence((reading.entry.id,)),
                source="0.2 to 0.3 deg peak to peak: common practice, from memory",
                stage=reading.stage,
                support=supports_of(bench.knowledge, "torsional_amplitude", told) if told else (),
            )
        )
    return found


def _fit(timing: Timing, orders: Torsion) -> tuple[DamperFit | None, str]:
    """DamperFit the mode, and say why the tool refuses a verdict (empty: it does not)."""
    refusal = ""
    span = float(np.ptp(orders.rpm)) if len(orders.rpm) else 0.0
    speeds = len(np.unique(np.rint(orders.rpm / 25.0)))
    if orders.places < _MARKS:
        refusal = f"the wheel has {orders.places} places; {_MARKS} or more are needed"
    elif span < _SPAN or speeds < _SPEEDS:
        refusal = (
            f"the sweep covers {span:.0f} rpm; at least {_SPAN:.0f} rpm, slowly, are needed "
            "(750 to 2100 rpm in 10 s or more)"
        )
    elif float(np.median(orders.error)) > _NOISE:
        refusal = "the timing is too noisy; check the pickup's gap and use a sound card at 44 kHz"
    elif timing.warm is False:
        refusal = "the engine is cold: cold silicone is stiff and reads like a worn damper"
    elif timing.warm is None:
        refusal = "it is not written down that the engine was at working temperature"
    try:
        fit = judge(orders)
    except ValueError as error:
        return None, refusal or str(error)
    return replace(fit, refusal=refusal or fit.refusal), refusal or fit.refusal


def _verdict(
    bench: Bench,
    timing: Timing,
    orders: Torsion,
    fit: DamperFit | None,
    refusal: str,
    healthy: dict[str, float],
) -> Finding:
    if fit is None:
        return not_run(
            "damper_twist", "The crankshaft damper cannot be judged from this recording.",
            refusal, METHOD, stage=timing.stage,
        )  # fmt: skip
    mode, pair = fit.mode, fit.pair
    zeta, low, high = fit.damping
    outcome: Outcome
    support: tuple[Support, ...] = ()
    reason = refusal
    kind = ""
    if fit.verdict == "refused":
        outcome, words = "inconclusive", "cannot tell"
    elif fit.verdict == "healthy":
        outcome, words = "not_seen", "looks healthy"
        support = supports_of(bench.knowledge, _TWIST, "healthy")
    elif fit.verdict == "dead":
        outcome, words = "seen", "is not damping"
        kind = _kind(mode, timing.place, healthy) if pair is None else ""
        where_read = "dead_at_nose" if timing.place == "nose" else "dead_elsewhere"
        if timing.place != "nose" and (timing.load is None or timing.load < 0.5):
            where_read = "dead_without_load"
            kind += " (weak evidence: measured without load away from the nose; repeat it there)"
        support = supports_of(bench.knowledge, _TWIST, where_read)
    else:
        outcome, words = "inconclusive", "cannot tell: it may be drifting"
        reason = f"the damping lies between {NOT_DAMPING_BELOW:g} and {HEALTHY_FROM:g}"
        if not NOT_DAMPING_BELOW <= zeta < HEALTHY_FROM:
            reason = f"the damping's interval ({low:.3f} to {high:.3f}) reaches across the limits"
    if fit.verdict == "between" and pair is not None:
        words = "cannot tell"
        reason = (
            "something on the crankshaft swings along, and which of the two modes the damper "
            "damps is not known: take the belts off for one short sweep, or compare with a "
            "recording of the same engine when it was sound"
        )
    where = f"Twist mode {mode.frequency:.0f} Hz, damping {zeta:.3f} ({low:.3f} to {high:.3f})."
    if pair is not None:
        one, two = pair.frequency
        where = (
            f"Two modes share the band, {one:.0f} Hz ({pair.single[0]:.3f}) and {two:.0f} Hz "
            f"({pair.single[1]:.3f}), so something else swings along, an accessory drive for "
            f"instance; the less damped has {zeta:.3f} ({low:.3f} to {high:.3f})."
        )
    sentence = f"Crankshaft damper: {words}{kind}. {where} {LABEL.capitalize()}."
    return Finding(
        code="damper_twist",
        sentence=sentence,
        outcome=outcome,
        reason=reason if outcome == "inconclusive" else "",
        method=METHOD,
        value=zeta,
        low=low,
        high=high,
        coverage=0.9,
        point=OperatingPoint(load=timing.load, warm=timing.warm),
        evidence=Evidence((timing.entry,), timing.sha256, timing.channel or None),
        source="fitted damping of the twist mode; thresholds from simulation (docs/damper.md)",
        stage=timing.stage,
        support=support,
        details=_details(timing, orders, fit),
    )


def _kind(mode: TwistMode, place: str, healthy: dict[str, float]) -> str:
    """Stiff or empty, only against a healthy recording of the same engine."""
    known = healthy.get(place)
    if known is None:
        return ""
    if mode.frequency < 0.98 * known:
        return " (stiff or seized: the ring goes with its case, the mode lies lower)"
    if mode.frequency > 1.05 * known:
        return " (leaked or empty: the ring is loose, the mode lies higher)"
    return ""


def _details(timing: Timing, orders: Torsion, fit: DamperFit) -> CrankTwist:
    mode, pair = fit.mode, fit.pair
    curves = []
    for k in (6.0, 7.5, 9.0):
        if k in mode.orders:
            speed, measured, error, fitted = mode_curve(orders, mode, k)
            if pair is not None:
                fitted = pair_curve(orders, mode, pair, k)
            curves.append(
                TwistCurve(
                    order=k,
                    rpm=speed.round(1).tolist(),
                    deg=np.degrees(measured).round(5).tolist(),
                    error=np.degrees(error).round(6).tolist(),
                    fit=np.degrees(fitted).round(5).tolist(),
                )
            )
    largest = {}
    for k in orders.orders:
        column = np.abs(orders.order(float(k)))
        at = int(np.argmax(column))
        largest[f"{k:g}"] = [float(np.degrees(column[at])), float(orders.rpm[at])]
    return CrankTwist(
        label=LABEL,
        frequency_hz=mode.frequency,
        frequency_low=mode.frequency_low,
        frequency_high=mode.frequency_high,
        damping=fit.damping[0],
        one_mode_damping=mode.damping,
        two_modes=[list(mode) for mode in zip(pair.frequency, pair.single, strict=True)]
        if pair is not None
        else [],
        thresholds=[NOT_DAMPING_BELOW, HEALTHY_FROM],
        orders=list(mode.orders),
        misfit=mode.misfit,
        marks=orders.places,
        place=timing.place,
        false_edges=timing.marks.false_edges if timing.marks else 0,
        missed_marks=timing.marks.missed if timing.marks else 0,
        largest_deg=largest,
        curves=curves,
        stands_for=(),
    )
