"""Joint angles: what the driveline does to the second order of the shaft.

Readings of ``joint_angle`` in the order of the driveline, transmission first; the point's gear
field is free, the reading's source names the joint ("front joint", "rear joint"). A joint is
measured as its working angle, the difference of the two shafts' slopes. Signs: the same sign for
joints that bend the same way; two parallel ends then read equal and opposite or equal, only the
size counts with the yokes in line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from witnessmark.analyses.an_analysis import Bench, Reading, not_run
from witnessmark.analyses.readings.stand_ins import stand_in, tests_of
from witnessmark.errors import UnitRefused
from witnessmark.model.details.shake_details import JointTrain, ShaftWhirl
from witnessmark.model.finding import Evidence, Finding, Outcome, Support
from witnessmark.physics.vibration.joint_angles import (
    UNIFORMITY_LIMIT,
    Joint,
    bending_critical_speed,
    joint_acceleration,
    joint_train,
)
from witnessmark.units import parse
from witnessmark.words.numbers import percentage

__all__ = ["NEEDS", "analyse"]

NEEDS = ("every joint's working angle at ride height, in order from the transmission to the axle",)
METHOD = "driveline_angles/1"
MODEL = "vibration"

_DEGREE = math.pi / 180
#: Unequal by more than this, or one joint above that, counts as a fault (common practice, as in
#: the pack's test of the angles: "unequal > 1 deg or > about 3 deg").
_UNEQUAL, _LARGE = 1.0, 3.0
#: An inclinometer reads to about 0.2 degrees (judgement); a difference of two joints to 0.3.
_READS_TO = 0.3
#: Torsional acceleration limit in use for truck drivelines [rad/s2] (common practice, no source).
_TORSIONAL_LIMIT, _INERTIAL_LIMIT = 300.0, 1000.0
#: A shaft is kept below this part of its first bending speed (common practice, no source).
_WHIRL_SHARE = 0.70


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return one finding a stage with joint angles, and one a shaft entered with the truck."""
    by_stage: dict[int, list[Reading]] = {}
    for reading in bench.readings("joint_angle"):
        by_stage.setdefault(reading.stage, []).append(reading)
    found = [_finding(bench, stage, readings) for stage, readings in sorted(by_stage.items())]
    return (*(f for f in found if f is not None), *_critical(bench))


def _critical(bench: Bench) -> list[Finding]:
    """First bending speed of the propeller shafts entered with the truck, against their speed."""
    truck = bench.case.truck()
    if truck is None or not truck.shafts:
        return []
    found: list[Finding] = []
    for number, shaft in enumerate(truck.shafts, start=1):
        try:
            sizes = [_length(text) for text in (shaft.length, shaft.outer, shaft.inner or "0 mm")]
            whirl = bending_critical_speed(sizes[0], sizes[1], sizes[2])
        except (ValueError, UnitRefused) as error:
            found.append(
                not_run(
                    "shaft_critical_speed", f"The critical speed of shaft {number} is not known.",
                    f"{error}; write lengths with a unit, such as 72 in, outer above inner",
                    "shaft_critical_speed/1", stage=bench.last_stage(),
                )
            )  # fmt: skip
            continue
        found.append(_against_critical(bench, number, whirl))
    return found


def _length(text: str) -> float:
    typed = parse(text)
    if typed.unit.kind != "length":
        raise ValueError(f"{text} is no length")
    return typed.si


def _against_critical(bench: Bench, number: int, whirl: float) -> Finding:
    speed = _shaft_speed(bench)
    words = f"Shaft {number} bends of itself (whirls) at about {whirl:.0f} rpm or a little lower"
    outcome: Outcome = "inconclusive"
    reason = "enter axle ratio and tyre size to compare it with the shaft's speed"
    turns = None
    if speed is not None:
        turns = speed[0] * 30.0 / math.pi
        outcome = "seen" if turns > _WHIRL_SHARE * whirl else "not_seen"
        reason = ""
        words += f"; at {speed[1]} it turns {turns:.0f} rpm, {percentage(turns / whirl)} of that"
        words += ": too near." if outcome == "seen" else ": far enough away."
    else:
        words += "."
    return Finding(
        code="shaft_critical_speed",
        sentence=words,
        outcome=outcome,
        reason=reason,
        method="shaft_critical_speed/1",
        value=whirl,
        unit="rpm",
        source="uniform steel tube on two joints, no joint mass; keeping below 70 % of it is "
        "common practice, no source",
        stage=bench.last_stage(),
        details=ShaftWhirl(shaft_rpm=turns, share_limit=_WHIRL_SHARE, stands_for=()),
    )


def _finding(bench: Bench, stage: int, readings: Sequence[Reading]) -> Finding | None:
    if len(readings) < 2:
        if not bench.asks(MODEL):
            return None
        return not_run(
            "driveline_angles",
            "One joint angle says nothing about the rest of the driveline.",
            "measure every joint at ride height, on level ground, with one inclinometer",
            METHOD,
            stage=stage,
        )
    angles = [r.value for r in readings]
    yokes = [_yoke(r) for r in readings]
    train = joint_train([Joint(abs(a), yoke=y) for a, y in zip(angles, yokes, strict=True)])
    degrees = [abs(a) / _DEGREE for a in angles]
    uneven = max(abs(a - b) for a, b in pairwise(degrees))
    phased = any(abs(math.sin(y)) > 0.17 for y in yokes)
    fault = uneven > _UNEQUAL + _READS_TO or max(degrees) > _LARGE + _READS_TO or phased
    clear = uneven < _UNEQUAL - _READS_TO and max(degrees) < _LARGE - _READS_TO and not phased
    outcome: Outcome = "seen" if fault else "not_seen" if clear else "inconclusive"
    rest = train.equivalent_angle / _DEGREE
    speed = _shaft_speed(bench)
    words = f"Joint angles {', '.join(f'{d:.1f}' for d in degrees)} deg leave what one joint of "
    words += f"{rest:.1f} deg would do"
    words += {
        "seen": ": too much.", "not_seen": ": in order.", "inconclusive": ": on the limit.",
    }[outcome]  # fmt: skip
    ripple = percentage(abs(train.excitation), 2)
    words += (
        f" Second order: {ripple} of the shaft's speed; unevenness {train.uniformity:.4f}, "
        f"published limit {UNIFORMITY_LIMIT:g}."
    )
    details = JointTrain(
        equivalent_deg=rest,
        uniformity=train.uniformity,
        uniformity_limit=UNIFORMITY_LIMIT,
        second_order_ripple_percent=100 * abs(train.excitation),
        torsional_limit_rad_s2=_TORSIONAL_LIMIT,
        inertial_limit_rad_s2=_INERTIAL_LIMIT,
        stands_for=(),
    )
    if speed is not None:
        omega, at = speed
        details = replace(
            details,
            at=at,
            torsional_rad_s2=joint_acceleration(train.equivalent_angle, omega),
            inertial_rad_s2=joint_acceleration(train.centre, omega),
        )
        words += (
            f" At {at} the axle end is shaken with "
            f"{joint_acceleration(train.equivalent_angle, omega):.0f} rad/s2 twice a turn."
        )
    support: tuple[Support, ...] = ()
    if outcome != "inconclusive":
        answers = tests_of(bench.knowledge, {"joint_angles": fault})
        support = stand_in(bench.knowledge, answers, right=0.95)
        details = replace(details, stands_for=tuple(sorted(answers)))
    return Finding(
        code="driveline_angles",
        sentence=words,
        outcome=outcome,
        reason="the inclinometer cannot tell it from the limit"
        if outcome == "inconclusive"
        else "",
        method=METHOD,
        quantity="joint_angle",
        value=train.equivalent_angle,
        unit="rad",
        evidence=Evidence(tuple(r.entry.id for r in readings)),
        source="unequal by over 1 deg or over 3 deg: common practice, no source; uniformity limit "
        "0.0027: published driveline calculation",
        stage=stage,
        support=support,
        details=details,
    )


def _yoke(reading: Reading) -> float:
    """A joint noted as out of phase stands a quarter turn out."""
    words = (reading.data.source or "").lower()
    return math.pi / 2 if "out of phase" in words else 0.0


def _shaft_speed(bench: Bench) -> tuple[float, str] | None:
    """Shaft speed [rad/s] at 65 mph, the speed most of these complaints name."""
    truck = bench.case.truck()
    if truck is None or not (truck.axle_ratio and truck.tyre_rev_per_mile):
        return None
    wheel = 65.0 * 1609.344 / 3600.0 / 1609.344 * truck.tyre_rev_per_mile
    return 2 * math.pi * wheel * truck.axle_ratio, "65 mph"
