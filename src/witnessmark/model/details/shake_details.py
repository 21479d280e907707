"""Further numbers of findings about vibration, the driveline and the crank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from witnessmark.model.details.finding_details import ABSENT, Details

__all__ = [
    "CrankTwist",
    "CylinderShares",
    "JointTrain",
    "LineChange",
    "LinesTogether",
    "NeutralCheck",
    "RecorderClock",
    "ShaftWhirl",
    "TwistCurve",
    "VibrationChanged",
    "WhatItFollows",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class RecorderClock(Details):
    """How the recorder's clock was found: blips, and whether the pull confirms it."""

    blips: int
    checked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LinesTogether(Details):
    """Lines that fall together in some gear, one sentence a pair."""

    pairs: Sequence[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class WhatItFollows(Details):
    """What a vibration follows.

    Attributes:
        family: engine, road, fixed, none or not clear.
        line: the leading line, empty without one.
        levels: line -> level [m/s2 rms].
        abnormal: lines above what healthy trucks show.
        log_odds: family -> log likelihood against "nothing abnormal".
        gears: gears that were driven.
        windows: windows that were weighed.
        aliases: lines that the sampling folds onto others, in words.
        turns_with: parts that turn with the line in every gear.
        accessories: driven part -> its ratio.
        stands_for: tests by hand that it answers.
        settle: the recording that would settle it.
        orders: level by half order and engine speed: ``orders``, ``rpm``, ``rms`` rows.
        phasors: the line's complex amplitude in every window.
        clock_offset_s: of each recording [s].
        cells: level of every line in every steady cell.
    """

    family: str
    line: str
    levels: Mapping[str, float]
    abnormal: Sequence[str]
    log_odds: Mapping[str, float]
    gears: Sequence[str]
    windows: int
    aliases: Sequence[str]
    turns_with: Sequence[str]
    accessories: Mapping[str, float]
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    settle: str
    orders: Mapping[str, object]
    phasors: Mapping[str, object]
    clock_offset_s: Sequence[float]
    cells: Sequence[Mapping[str, object]] | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class NeutralCheck(Details):
    """Whether the complaint's order is there in neutral."""

    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineChange:
    """One line before and after the work.

    Attributes:
        line: its name.
        before: level before [m/s2 rms].
        after: level after.
        low: lower end of the ratio.
        high: upper end of the ratio.
        provable: smallest fall that this material could have shown [m/s2 rms].
        cells: (gear, engine speed, load) of the cells that were compared.
    """

    line: str
    before: float
    after: float
    low: float
    high: float
    provable: float
    cells: Sequence[Sequence[object]]


@dataclass(frozen=True, slots=True, kw_only=True)
class VibrationChanged(Details):
    """What the work changed.

    Attributes:
        lines: every line, the complaint's first.
        second_cause: one line is cured and another stayed.
        curve_before: (engine speed, level, windows) of the complaint's line.
        curve_after: the same after the work.
    """

    lines: Sequence[LineChange]
    second_cause: bool
    curve_before: Sequence[Sequence[float]]
    curve_after: Sequence[Sequence[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShaftWhirl(Details):
    """Share of its critical speed at which a shaft turns; no speed where no ratios are known."""

    shaft_rpm: float | None
    share_limit: float
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class JointTrain(Details):
    """A train of joints.

    Attributes:
        equivalent_deg: the angle of one joint that does the same [deg].
        uniformity: unevenness.
        uniformity_limit: published limit of it.
        second_order_ripple_percent: of the shaft's speed.
        torsional_limit_rad_s2: limit of the torsional acceleration.
        inertial_limit_rad_s2: limit of the inertial acceleration.
        stands_for: tests by hand that it answers.
        at: the road speed in words, where the truck's ratios are known.
        torsional_rad_s2: torsional acceleration there.
        inertial_rad_s2: inertial acceleration there.
    """

    equivalent_deg: float
    uniformity: float
    uniformity_limit: float
    second_order_ripple_percent: float
    torsional_limit_rad_s2: float
    inertial_limit_rad_s2: float
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
    at: str | None = field(default=None, metadata=ABSENT)
    torsional_rad_s2: float | None = field(default=None, metadata=ABSENT)
    inertial_rad_s2: float | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderShares(Details):
    """Every cylinder against the mean of all.

    Attributes:
        deviation_percent: of each, in firing or cylinder order.
        error_percent: standard deviation of each.
        named: the numbers are the cylinders' own.
        part: what was compared, in words.
        would_have_shown_percent: the least that would have shown.
        explained: share of the low orders that the cylinders explain.
        stands_for: tests by hand that it answers.
    """

    deviation_percent: Sequence[float]
    error_percent: Sequence[float]
    named: bool
    part: str
    would_have_shown_percent: float
    explained: float
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)


@dataclass(frozen=True, slots=True, kw_only=True)
class TwistCurve:
    """One order that crosses the twist mode: engine speed [r/min], twist, error and fit [deg]."""

    order: float
    rpm: Sequence[float]
    deg: Sequence[float]
    error: Sequence[float]
    fit: Sequence[float]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrankTwist(Details):
    """The twist mode of the crankshaft.

    Attributes:
        label: how far it may be believed.
        frequency_hz: of the mode.
        frequency_low: lower end [Hz].
        frequency_high: upper end [Hz].
        damping: of the less damped mode.
        one_mode_damping: as one mode.
        two_modes: (frequency, damping) of each where there are two.
        thresholds: damping below which it does not damp, and from which on it is healthy.
        orders: that cross it.
        misfit: of the fit.
        marks: teeth or marks a turn.
        place: where it was measured.
        false_edges: edges that were left out.
        missed_marks: marks that were filled in.
        largest_deg: order -> (largest twist [deg], its engine speed).
        curves: for the picture.
        stands_for: tests by hand that it answers.
    """

    label: str
    frequency_hz: float
    frequency_low: float
    frequency_high: float
    damping: float
    one_mode_damping: float
    two_modes: Sequence[Sequence[float]]
    thresholds: Sequence[float]
    orders: Sequence[float]
    misfit: float
    marks: int
    place: str
    false_edges: int
    missed_marks: int
    largest_deg: Mapping[str, Sequence[float]]
    curves: Sequence[TwistCurve]
    stands_for: tuple[str, ...] | None = field(default=None, metadata=ABSENT)
