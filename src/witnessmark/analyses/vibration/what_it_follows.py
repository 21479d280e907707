"""Vibration: does it follow the engine, the road, neither, or is nothing abnormal?

Out of recordings of an accelerometer together with engine and road speed. See docs/vibration.md
for how to record, and studies/vibration for how often the answer is right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from witnessmark.analyses.an_analysis import Bench, not_run
from witnessmark.analyses.readings.finding_rows import supports_of
from witnessmark.analyses.readings.stand_ins import merge, stand_in, tests_of
from witnessmark.analyses.vibration.found_orders import UNLISTED, with_found_orders
from witnessmark.analyses.vibration.vibration_change import change
from witnessmark.analyses.vibration.vibration_drives import (
    VibrationDrive,
    gather,
    lines_for,
    shared_by,
    sweeps_of,
)
from witnessmark.analyses.vibration.vibration_levels import (
    Cell,
    cells,
    cells_in_words,
    order_table,
    phasors,
)
from witnessmark.model.details.shake_details import (
    LinesTogether,
    NeutralCheck,
    RecorderClock,
    WhatItFollows,
)
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.finding import Evidence, Finding, OperatingPoint, Outcome, Support
from witnessmark.physics.vibration.clock_alignment import Alignment
from witnessmark.physics.vibration.orders.fixed_peaks import fixed_peaks
from witnessmark.physics.vibration.orders.line_selection import Chosen, choose_lines
from witnessmark.physics.vibration.orders.order_lines import (
    ENGINE_ORDERS,
    Line,
    aliases,
    coincidences,
    expected_lines,
)
from witnessmark.physics.vibration.orders.order_tracking import level
from witnessmark.physics.vibration.vibration_family import FamilyVerdict, decide
from witnessmark.words.numbers import percentage
from witnessmark.words.say import vibration as say

__all__ = ["NEEDS", "analyse"]

NEEDS = (
    "a vibration recording (phone or wired accelerometer) of the shake",
    "the engine speed in the same file, or a bus recording of the same drive that begins with "
    "three throttle blips in neutral",
    "the road speed, the gears, the axle ratio and the tyre's turns a mile",
)
METHOD = "vibration_family/1"
MODEL = "vibration"
RECORD = (
    "Put the phone on the seat rail, start its recorder and the bus recorder, give three throttle "
    "blips in neutral, then pull slowly from 1100 to 1700 rpm in two gears, one of them not the "
    "direct gear, 20 s or more in all."
)
_WORDS = {
    "engine": "The vibration follows engine speed",
    "road": "The vibration follows road speed",
    "fixed": "The vibration stays at one frequency whatever the speeds do",
    "none": "The recording shows nothing above what healthy trucks show: the shake was not caught",
    "not clear": "The recording does not settle what the vibration follows",
}

_OUTCOME: Mapping[str, Outcome] = {"none": "not_seen", "not clear": "inconclusive"}


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return the family of the vibration at every stage it was recorded, and what changed."""
    relevant = bench.asks(MODEL)
    gathered = gather(bench)
    truck = bench.case.truck()
    found: list[Finding] = []
    if relevant and truck is not None:
        found += _before_the_drive(truck)
    for entry, why in gathered.refused.items():
        found.append(
            not_run(
                "vibration_recording", "A vibration recording could not be used.", why, METHOD,
                stage=bench.stage(entry),
            )
        )  # fmt: skip
    if not gathered.drives:
        if relevant and not gathered.refused:
            found.append(
                not_run(
                    "vibration_family",
                    "What the vibration follows is not known: no vibration recording yet.",
                    RECORD, METHOD, stage=bench.last_stage(),
                )
            )  # fmt: skip
        return tuple(found)
    found += [_clock(d, d.clock) for d in gathered.drives if d.clock is not None]
    lines = lines_for(truck, gathered.drives)
    by_stage: dict[int, list[VibrationDrive]] = {}
    for drive in gathered.drives:
        by_stage.setdefault(drive.stage, []).append(drive)
    tables: dict[int, tuple[FamilyVerdict, tuple[Cell, ...]]] = {}
    for stage, drives in sorted(by_stage.items()):
        # What was found at one visit is looked for at the next.
        lines = with_found_orders(drives, lines, truck)
        finding, verdict, chosen = _family(bench, stage, drives, lines, truck)
        if finding.outcome == "not_run":
            found.append(finding)
            continue
        here = cells(drives, _watched(lines, chosen), truck)
        sure = _clock_is_sure(drives)
        if sure:
            tables[stage] = (verdict, here)
        if isinstance(finding.details, WhatItFollows):
            told = replace(finding.details, cells=cells_in_words(here))
            finding = replace(finding, details=told)
        found.append(finding)
        found += _neutral(bench, stage, drives, lines, truck, verdict) if sure else []
    found += change(bench, tables, by_stage)
    return tuple(found)


def _clock_is_sure(drives: Sequence[VibrationDrive]) -> bool:
    """Say whether every recorder of its own was confirmed outside the blips, too."""
    return all(d.clock is None or d.clock.checked for d in drives)


def _clock(drive: VibrationDrive, clock: Alignment) -> Finding:
    """How the vibration recording and the bus were put on one clock: a result with its doubt."""
    check = (
        f"good to {clock.doubt:.2f} s; the pull outside the blips agrees"
        if clock.checked
        else "nothing outside the blips confirms it, so it may be seconds off"
    )
    way = "behind" if clock.offset < 0 else "ahead of"
    return Finding(
        code="vibration_clock",
        sentence=f"The vibration recorder's clock lies {abs(clock.offset):.2f} s {way} the bus's "
        f"by {clock.blips} throttle blips, {check}.",
        outcome="seen" if clock.checked else "inconclusive",
        reason=""
        if clock.checked
        else "nothing outside the blips confirms it: pull through 150 rpm or more in one gear",
        method="clock_alignment/2",
        value=clock.offset,
        unit="s",
        low=clock.offset - clock.doubt if clock.checked else None,
        high=clock.offset + clock.doubt if clock.checked else None,
        coverage=0.95 if clock.checked else None,
        evidence=Evidence((drive.entry,), drive.sha256),
        source="order fit over the blips and over the pull (docs/vibration.md)",
        stage=drive.stage,
        details=RecorderClock(blips=clock.blips, checked=clock.checked),
    )


def _before_the_drive(truck: TruckData) -> list[Finding]:
    gears = {g: r for g, r in (truck.gears or {}).items() if r > 0}
    road = bool(gears) and truck.axle_ratio is not None
    lines = expected_lines(orders=ENGINE_ORDERS[:12], accessories=truck.accessories, road=road)
    together = coincidences(gears if road else {}, truck.axle_ratio or 1.0, lines)
    if not together:
        return []
    sentences = [c.sentence() for c in together]
    worst = [g for g in gears if any(c.gear == g for c in together)]
    free = [g for g in gears if g not in worst]
    words = ""
    if worst:
        words = f"In gear {', '.join(worst)} some lines fall together; record the pull in "
        words += f"gear {' and '.join(free[-2:])} as well." if free else "two gears."
    always = [f"the {c.first.name} and the {c.second.name}" for c in together if not c.gear]
    if always:
        words += f" In every gear {'; '.join(always)} fall together: belts off, or the fan held, "
        words += "tells them apart."
    return [
        Finding(
            code="vibration_coincidences",
            sentence=words.strip(),
            outcome="seen",
            method="order_coincidence/1",
            source="computed from the ratios entered with the truck",
            details=LinesTogether(pairs=sentences),
        )
    ]


def _family(
    bench: Bench,
    stage: int,
    drives: Sequence[VibrationDrive],
    lines: tuple[Line, ...],
    truck: TruckData | None,
) -> tuple[Finding, FamilyVerdict, Chosen]:
    sweeps = [s for d in drives for s in sweeps_of(d, lines, truck)]
    chosen = choose_lines(sweeps)
    gears = sorted({s.label for s in sweeps})
    entries = tuple(d.entry for d in drives)
    evidence = Evidence(entries, drives[0].sha256)
    if len(chosen.time) < 4:
        verdict = FamilyVerdict("not clear", {}, "", 0.0, "too little of it is in one gear")
        finding = not_run(
            "vibration_family",
            "What the vibration follows is not known.",
            "less than 8 s of the recording are in one gear with a known engine speed. " + RECORD,
            METHOD,
            stage=stage,
        )
        return finding, verdict, chosen
    peaks = fixed_peaks(sweeps, chosen.lines)
    verdict = decide(chosen, lines, peaks, gears=len(gears), firing=_firing(truck))
    road_known = any(line.carrier != "engine" for line in lines)
    reason = verdict.reason
    family: str = verdict.family
    if not road_known and family in {"engine", "none"} and len(gears) < 2:
        family = "not clear"
        reason = "without the truck's gears, axle ratio and tyre size, or a second gear, an "
        reason += "engine order cannot be told from the shaft"
    unlisted = verdict.line.startswith(UNLISTED)
    if unlisted and family == "engine" and len(gears) < 2:
        family = "not clear"
        reason = f"the {verdict.line} may follow the engine or the road in one gear alone; to "
        reason += "settle it, pull slowly in a second gear"
    if (family in {"none", "fixed"} or unlisted) and not _clock_is_sure(drives):
        # Off by a few seconds, a shake is spread over all lines: it looks like nothing at all, like
        # a mode, or like an order beside its own. A line that was expected stands up as it is.
        family, reason = "not clear", say.clock_not_confirmed()
    elif family == "not clear" and verdict.settle:
        reason += f"; to settle it, {verdict.settle}"
    outcome = _OUTCOME.get(family, "seen")
    sentence = _WORDS[family]
    twins = shared_by(truck, verdict.line)
    if outcome == "seen":
        sentence += f": {verdict.line}, {verdict.rms:.2f} m/s2 rms"
        sentence += f", in gear {' and '.join(gears)}."
        if unlisted:
            sentence += " No listed part turns so: compare it with the pulley diameters of what "
            sentence += "the belts drive, or take the belts off for one pull."
        sentence += _slip_words(verdict.line, lines, truck)
        if twins:
            sentence += f" The {' and the '.join(twins)} turns with it in every gear: belts off, "
            sentence += "or the fan held, tells them apart."
    else:
        sentence += "."
    row = next((i for i, c in enumerate(chosen.lines) if lines[c].name == verdict.line), None)
    low = high = None
    if row is not None:
        band = level(chosen.power[np.isfinite(chosen.power[:, row]), row])
        low, high = band.low / np.sqrt(2), band.high / np.sqrt(2)
    support: tuple[Support, ...] = ()
    answers: dict[str, bool] = {}
    if outcome == "seen":
        answers = tests_of(bench.knowledge, _said(family, verdict, lines))
        support = merge(
            [
                *stand_in(bench.knowledge, answers),
                *_firing_order(bench, verdict, truck),
                *_accessory(bench, verdict, lines),
            ]
        )
    finding = Finding(
        code="vibration_family",
        sentence=sentence,
        outcome=outcome,
        reason=reason if outcome == "inconclusive" else "",
        method=METHOD,
        quantity="vibration",
        value=verdict.rms if verdict.line else None,
        unit="m/s2",
        low=low,
        high=high,
        coverage=0.95 if low is not None else None,
        point=OperatingPoint(),
        evidence=evidence,
        source="least-squares order fit; healthy levels are judgement (docs/vibration.md)"
        + (
            "; the recording names no unit: m/s2 assumed, or g where it shows gravity as 1"
            if any(d.unit == "assumed" for d in drives)
            else ""
        ),
        stage=stage,
        support=support,
        details=WhatItFollows(
            family=family,
            line=verdict.line,
            levels=dict(verdict.levels),
            abnormal=list(verdict.abnormal),
            log_odds={k: round(v, 2) for k, v in verdict.log_odds.items()},
            gears=gears,
            windows=len(chosen.time),
            aliases=_aliases(drives, lines, truck),
            turns_with=list(twins),
            accessories=dict(truck.accessories or {}) if truck is not None else {},
            stands_for=tuple(sorted(answers)),
            settle=verdict.settle,
            orders=order_table(
                drives, tuple((truck.accessories or {}).values()) if truck is not None else ()
            ),
            phasors=phasors(sweeps, lines, verdict.line),
            clock_offset_s=[d.offset for d in drives],
        ),
    )
    return finding, verdict, chosen


def _slip_words(name: str, lines: Sequence[Line], truck: TruckData | None) -> str:
    """Say by how much the belt of a listed part slips, from 1 % on."""
    line = next((x for x in lines if x.name == name and x.accessory), None)
    listed = [r for n, r in ((truck.accessories if truck else None) or {}).items() if n in name]
    if line is None or len(listed) != 1 or not name.endswith(" 1x"):
        return ""
    slip = 1.0 - line.multiple / listed[0]
    if abs(slip) < 0.01:
        return ""
    return (
        f" It turns at {line.multiple:.2f} where {listed[0]:.2f} was written down"
        + (f": the belt slips by {percentage(slip)}, or" if slip > 0 else ":")
        + " the pulleys differ."
    )


def _said(family: str, verdict: FamilyVerdict, lines: Sequence[Line]) -> dict[str, bool]:
    """Return what the recording says, in the words of the packs' ``recording``; strongest first."""
    looked = {line.name for line in lines}
    high = set(verdict.abnormal)
    tyre = verdict.line.startswith("tyre")
    said: dict[str, bool] = {}
    if family in {"engine", "road"}:
        said["shake_follows_engine"] = family == "engine"
    if {"engine order 0.5", "engine order 1.5"} <= looked:
        said["shake_half_orders"] = bool(high & {"engine order 0.5", "engine order 1.5"})
    if "engine order 1" in looked:
        said["shake_first_order"] = "engine order 1" in high
    if "drive shaft 2x" in looked:
        said["shake_shaft_twice"] = "drive shaft 2x" in high
        said["shake_tyre_order"] = tyre
    if any(line.carrier == "wheel" for line in lines):
        leading = {
            "shake_leads_tyre": tyre,
            "shake_leads_shaft": verdict.line == "drive shaft 1x",
            "shake_leads_shaft_twice": verdict.line == "drive shaft 2x",
        }
        # They exclude each other: the one that is positive counts in full, the others half.
        said |= dict(sorted(leading.items(), key=lambda item: not item[1]))
    return said


def _firing(truck: TruckData | None) -> float:
    """Firing order of a four-stroke: half its cylinders; a six where nothing is written down."""
    cylinders = truck.engine.cylinders if truck is not None else None
    return (cylinders or 6) / 2.0


def _accessory(bench: Bench, verdict: FamilyVerdict, lines: Sequence[Line]) -> tuple[Support, ...]:
    """What turns at an accessory's own ratio is that accessory. Judgement: no published figure."""
    driven = {line.name for line in lines if line.accessory}
    if verdict.line not in driven:
        return ()
    return supports_of(bench.knowledge, "vibration_family", "accessory")


def _firing_order(
    bench: Bench, verdict: FamilyVerdict, truck: TruckData | None
) -> tuple[Support, ...]:
    """A high firing order points at what carries the engine. Judgement: no published figure."""
    if f"engine order {_firing(truck):g}" not in verdict.abnormal:
        return ()
    return supports_of(bench.knowledge, "vibration_family", "firing_order")


def _neutral(
    bench: Bench,
    stage: int,
    drives: Sequence[VibrationDrive],
    lines: Sequence[Line],
    truck: TruckData | None,
    verdict: FamilyVerdict,
) -> list[Finding]:
    """Is the complaint's engine order also there in neutral?"""
    if not any(x.name == verdict.line and x.carrier == "engine" for x in lines):
        return []
    engine = tuple(line for line in lines if line.carrier == "engine")
    sweeps = [s for d in drives for s in sweeps_of(d, engine, truck, neutral=True)]
    chosen = choose_lines(sweeps, window=1.0)
    if len(chosen.time) < 5:
        return []
    levels = {engine[c].name: float(r) for c, r in zip(chosen.lines, chosen.rms(), strict=True)}
    here = levels.get(verdict.line, 0.0)
    there = here > 0.5 * verdict.rms
    faint = here < 0.25 * verdict.rms
    answers = tests_of(bench.knowledge, {"shake_in_neutral": there}) if there or faint else {}
    support = stand_in(bench.knowledge, answers, weight=0.5)
    outcome: Outcome = "seen" if there else "not_seen" if faint else "inconclusive"
    return [
        Finding(
            code="vibration_neutral",
            sentence=f"In neutral the {verdict.line} shows {here:.2f} m/s2 rms, against "
            f"{verdict.rms:.2f} in gear.",
            outcome=outcome,
            reason="" if there or faint else "it is there, but clearly weaker than in gear",
            method=METHOD,
            quantity="vibration",
            value=here,
            unit="m/s2",
            evidence=Evidence(tuple(d.entry for d in drives), drives[0].sha256),
            stage=stage,
            support=support,
            details=NeutralCheck(stands_for=tuple(answers)),
        )
    ]


def _aliases(
    drives: Sequence[VibrationDrive], lines: Sequence[Line], truck: TruckData | None
) -> list[str]:
    axle = truck.axle_ratio if truck is not None else None
    found: dict[str, None] = {}
    for drive in drives:
        for span in drive.spans:
            inside = (drive.speed[0] >= span.start) & (drive.speed[0] <= span.end)
            if span.gear == "neutral" or not np.any(inside):
                continue
            low, high = np.percentile(drive.speed[1][inside], (5, 95))
            for rpm in np.arange(np.ceil(low / 50) * 50, high + 1, 50):
                for alias in aliases(
                    lines, drive.rate, float(rpm), gear_ratio=span.ratio, axle_ratio=axle
                ):
                    found[f"At {rpm:.0f} rpm: {alias.sentence()}"] = None
    return list(found)[:8]


def _watched(lines: Sequence[Line], chosen: Chosen) -> tuple[Line, ...]:
    """The lines followed from visit to visit: those chosen, and the usual ones."""
    usual = {"engine order 0.5", "engine order 1", "engine order 3", "drive shaft 2x", "tyre 1x"}
    picked = {lines[c].name for c in chosen.lines} | {x.name for x in lines if x.accessory}
    return tuple(line for line in lines if line.name in usual | picked)
