"""Two instruments on one thing: cold soak, probe at the housing, gauge beside the bus.

These find what a trace cannot: a sensor that is steadily off.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from witnessmark.analyses.an_analysis import Bench, Reading
from witnessmark.analyses.readings.finding_rows import supports_of
from witnessmark.analyses.readings.instruments import uncertainty_of
from witnessmark.analyses.steady import steady_points
from witnessmark.knowledge import Knowledge
from witnessmark.model.details.trace_details import ColdSoak, OtherSensor
from witnessmark.model.entries.entry_data import ReadingData
from witnessmark.model.finding import Evidence, Finding, OperatingPoint, Outcome
from witnessmark.model.recording import Recording
from witnessmark.units import QUANTITIES, UNITS, display_unit

__all__ = ["NEEDS", "analyse", "soak_of_recording"]

NEEDS = (
    "a recording begun with a cold engine, or temperatures read at cold soak",
    "a probe or infrared reading at the thermostat housing with the engine warm",
    "a mechanical gauge reading at an operating point that the recording holds",
)
#: Codes of the findings, under which the packs' tables stand.
_SOAK, _PROBE = "temperatures_apart_at_cold_soak", "coolant_bus_against_probe"
_COMMON = "common practice, no source"
#: After a cold night all temperatures agree within this; one that is off by more is suspect.
SOAK_WITHIN, SUSPECT_FROM = 3.0, 4.0
#: Bus and probe at the housing agree within this [degC]; the housing is a little cooler.
PROBE_WITHIN = 4.0
SOAKING = (
    "coolant_temperature", "oil_temperature", "fuel_temperature", "intake_air_temperature",
    "ambient_temperature", "air_inlet_temperature", "transmission_oil_temperature",
)  # fmt: skip
#: Gauge quantity -> bus quantity that reads the same thing, and how far off a healthy bus sensor
#: may be [house unit]; common practice, no source: 3 % of a 145 psi or 45 psi transducer.
SAME_THING = {
    "oil_pressure": ("oil_pressure", 3.0e4),
    "fuel_gallery_pressure": ("fuel_delivery_pressure", 3.0e4),
    "boost_pressure": ("boost_pressure", 1.0e4),
    "transmission_oil_pressure": ("transmission_oil_pressure", 7.0e4),
    "battery_voltage": ("battery_voltage", 0.3),
}
_RPM_WITHIN = 60.0
_LOAD_WITHIN = 0.1


def analyse(bench: Bench) -> tuple[Finding, ...]:
    """Return the findings of the cross-checks that the material allows."""
    found: list[Finding] = []
    for entry_id, recording in bench.recordings.items():
        found += soak_of_recording(recording, entry_id, bench.stage(entry_id), bench.knowledge)
        found += _gauge_beside_bus(bench, recording, entry_id)
    found += _soak_of_readings(bench)
    found += _probe(bench)
    return tuple(_once(found))


def _once(found: Sequence[Finding]) -> Iterator[Finding]:
    """Leave the support of the first finding that bears on the coolant sensor, stage by stage."""
    spoken: set[int] = set()
    for finding in found:
        if finding.support and finding.stage in spoken:
            yield replace(finding, support=())
            continue
        if finding.support:
            spoken.add(finding.stage)
        yield finding


def soak_of_recording(
    recording: Recording, entry_id: str, stage: int, knowledge: Knowledge | None = None
) -> Iterator[Finding]:
    """The first readings of a recording, where the engine had not run yet."""
    if recording.duration_s is None:
        return
    speed = recording.channel("engine_speed")
    values: dict[str, float] = {}
    for name in SOAKING:
        channel = recording.channel(name)
        if channel is None:
            continue
        good = np.flatnonzero(channel.valid())
        if good.size:
            first = good[channel.time_s[good] <= channel.time_s[good[0]] + 5.0]
            values[name] = float(np.median(channel.values[first]))
    if speed is None or len(values) < 3 or not speed.valid().any():
        return
    running = np.flatnonzero(speed.valid() & (np.nan_to_num(speed.values) > 300.0))
    began = float(speed.time_s[running[0]]) if running.size else math.inf
    # Only a recording that begins before the engine is started says anything.
    start = float(speed.time_s[speed.valid()][0])
    stood = began > start + 2.0
    evidence = Evidence((entry_id,), recording.sha256, "coolant_temperature", start, start + 5.0)
    yield from _soaked(values, evidence, stage, knowledge, sure=stood)


def _soak_of_readings(bench: Bench) -> Iterator[Finding]:
    """Temperatures entered by hand with the engine cold and standing."""
    by_stage: dict[int, list[Reading]] = {}
    for reading in _by_hand(bench, *SOAKING):
        cold = reading.point.warm is False and not reading.point.rpm
        if cold:
            by_stage.setdefault(reading.stage, []).append(reading)
    for stage, rows in by_stage.items():
        values = {r.data.quantity: r.value for r in rows}
        if len(values) >= 3:
            evidence = Evidence(tuple(r.entry.id for r in rows))
            yield from _soaked(values, evidence, stage, bench.knowledge, sure=True)


def _soaked(
    values: dict[str, float],
    evidence: Evidence,
    stage: int,
    knowledge: Knowledge | None,
    *,
    sure: bool,
) -> Iterator[Finding]:
    middle = float(np.median(list(values.values())))
    if middle > 45.0 or not sure:
        return
    off = {name: v - middle for name, v in values.items()}
    worst = max(off, key=lambda n: abs(off[n]))
    # The others against their own middle: the odd one must not pull it.
    others = [v for n, v in values.items() if n != worst]
    own = float(np.median(others)) if len(others) >= 3 else middle
    rest = [abs(v - own) for v in others]
    words = ", ".join(f"{n.replace('_', ' ')} {_degrees(v)}" for n, v in values.items())
    details = ColdSoak(deviation={n: float(d) for n, d in off.items()})
    if abs(off[worst]) <= SOAK_WITHIN:
        yield Finding(
            code="temperatures_apart_at_cold_soak",
            sentence=f"At cold soak all temperature sensors agree within "
            f"{_difference(max(abs(d) for d in off.values()))} ({words}): none is steadily off.",
            outcome="not_seen",
            details=replace(details, kind="agree"),
            support=supports_of(knowledge, _SOAK, "off", holds=False)
            if "coolant_temperature" in values
            else (),
            method="cold_soak/1",
            evidence=evidence,
            source=_COMMON,
            stage=stage,
        )
    elif (
        abs(off[worst]) > SUSPECT_FROM
        and max(rest, default=99.0) <= SOAK_WITHIN
        and not _may_be_warm(worst, off)
    ):
        yield Finding(
            code="temperatures_apart_at_cold_soak",
            sentence=f"At cold soak the {worst.replace('_', ' ')} reads "
            f"{_difference(off[worst], signed=True)} against the others ({words}): that sensor or "
            "its circuit is steadily off.",
            outcome="seen",
            quantity=worst,
            value=off[worst],
            unit="degC",
            details=replace(details, kind="offset", difference=True),
            support=supports_of(knowledge, _SOAK, "off") if worst == "coolant_temperature" else (),
            method="cold_soak/1",
            evidence=evidence,
            source=_COMMON,
            stage=stage,
        )
    else:
        yield Finding(
            code="temperatures_apart_at_cold_soak",
            sentence=f"The temperatures are apart ({words}), but not one alone: the truck had "
            "not cooled through. Repeat after eight hours.",
            outcome="inconclusive",
            reason="not cooled through",
            details=details,
            method="cold_soak/1",
            evidence=evidence,
            source=_COMMON,
            stage=stage,
        )


def _may_be_warm(worst: str, off: dict[str, float]) -> bool:
    """Say whether a liquid above the air may simply not have cooled through.

    It is cleared only by another liquid of the engine that is as cold as the air.
    """
    liquids = {"coolant_temperature", "oil_temperature", "transmission_oil_temperature"}
    if worst not in liquids or off[worst] < 0.0:
        return False
    return not any(name in off for name in liquids - {worst})


def _probe(bench: Bench) -> Iterator[Finding]:
    """Probe or infrared at the thermostat housing against the bus of the same stage."""
    for reading in _by_hand(bench, "coolant_housing_temperature"):
        other = _bus_coolant(bench, reading)
        if other is None:
            continue
        bus, spread, where, evidence = other
        gauge = uncertainty_of(reading.data).u
        limit = math.hypot(PROBE_WITHIN, 2.0 * gauge)
        difference = bus - reading.value
        off = abs(difference) > limit + spread
        near = abs(difference) <= limit
        seen: Outcome = "seen" if off else "not_seen" if near else "inconclusive"
        verdict = {
            "seen": "more than the two should differ: the reading on the bus is steadily off",
            "not_seen": "as they should be: the sensor is not steadily off",
            "inconclusive": "more than they should differ, but the coolant moved meanwhile; read "
            "both at the same instant",
        }[seen]
        yield Finding(
            code="coolant_bus_against_probe",
            sentence=f"The bus says {_degrees(bus)} {where} and the probe at the thermostat "
            f"housing {_degrees(reading.value)}: {_difference(difference, signed=True)}, "
            f"{verdict}.",
            outcome=seen,
            reason="not at the same instant" if seen == "inconclusive" else "",
            method="cross_check/1",
            quantity="coolant_temperature",
            value=difference,
            unit="degC",
            low=difference - 2.0 * gauge - spread,
            high=difference + 2.0 * gauge + spread,
            coverage=0.95,
            point=reading.point,
            evidence=Evidence(
                (reading.entry.id, *evidence.entries),
                evidence.recording,
                evidence.channel,
            ),
            source=f"{_COMMON}: within 4 degC of a probe at the housing",
            stage=reading.stage,
            support=()
            if seen == "inconclusive"
            else supports_of(bench.knowledge, _PROBE, "off", holds=off),
            details=OtherSensor(difference=True, kind="offset" if off else "agree"),
        )


def _bus_coolant(bench: Bench, probe: Reading) -> tuple[float, float, str, Evidence] | None:
    """Return what the bus says about the coolant: value, spread, words, evidence."""
    for reading in _by_hand(bench, "coolant_temperature"):
        if reading.stage == probe.stage and reading.point.matches(probe.point):
            return reading.value, 0.0, "as read beside it", Evidence((reading.entry.id,))
    for entry_id, recording in bench.recordings.items():
        channel = recording.channel("coolant_temperature")
        if bench.stage(entry_id) != probe.stage or channel is None:
            continue
        values = channel.values[channel.valid()]
        # The time of the probe is not on the recording's clock: the warm part stands for it.
        warm = values[values > 60.0]
        if warm.size < 30:
            continue
        middle = float(np.median(warm))
        low, high = np.percentile(warm, [25.0, 75.0])
        spread = float(high - low) / 2.0
        evidence = Evidence((entry_id,), recording.sha256, "coolant_temperature")
        return middle, spread, "most of the warm time", evidence
    return None


def _gauge_beside_bus(bench: Bench, recording: Recording, entry_id: str) -> Iterator[Finding]:
    """Gauge readings against the bus at a steady point of the recording that matches."""
    stage = bench.stage(entry_id)
    readings = [
        r
        for r in _by_hand(bench, *SAME_THING)
        if r.stage == stage and r.point.rpm is not None
        and recording.channel(SAME_THING[r.data.quantity][0]) is not None
    ]  # fmt: skip
    if not readings:
        return
    points = steady_points(recording, bench.case.truck())
    for reading in readings:
        name, healthy = SAME_THING[reading.data.quantity]
        channel = recording.channel(name)
        matching = [p for p in points if _same_point(reading.point, p.rpm, p.load)]
        if channel is None or not matching:
            continue
        best = max(matching, key=lambda p: p.end_s - p.start_s)
        here = channel.valid() & (channel.time_s >= best.start_s) & (channel.time_s <= best.end_s)
        if np.count_nonzero(here) < 3:
            continue
        bus = float(np.median(channel.values[here]))
        scatter = float(np.std(channel.values[here]))
        gauge = uncertainty_of(reading.data).u
        difference = bus - reading.value
        half = 2.0 * math.hypot(gauge, scatter / math.sqrt(3.0))
        off = abs(difference) > healthy + half
        factor = UNITS[_house(name)].factor / UNITS[display_unit(name)].factor
        unit = display_unit(name)
        side = "below" if difference < 0 else "above"
        yield Finding(
            code=f"{name}_bus_against_gauge",
            sentence=f"At {reading.point.words()} the bus reads the "
            f"{reading.data.quantity.replace('_', ' ')} {abs(difference) * factor:.1f} {unit} "
            f"{side} the gauge "
            + (
                f"(more than the {(healthy + half) * factor:.1f} {unit} that both may be off): "
                "one of the two is wrong; try a second gauge, then the sensor's ground and 5 V."
                if off
                else f"(inside the {(healthy + half) * factor:.1f} {unit} that both may be off): "
                "no fault."
            ),
            outcome="seen" if off else "not_seen",
            method="cross_check/1",
            quantity=name,
            value=difference,
            unit=_house(name),
            low=difference - half,
            high=difference + half,
            coverage=0.95,
            point=reading.point,
            evidence=Evidence(
                (reading.entry.id, entry_id), recording.sha256, name, best.start_s, best.end_s
            ),
            source=f"{_COMMON}: 3 % of the span of a bus sensor",
            stage=stage,
            details=OtherSensor(difference=True, kind="offset" if off else "agree"),
        )


def _same_point(point: OperatingPoint, rpm: float, load: float | None) -> bool:
    if point.rpm is None or abs(point.rpm - rpm) > _RPM_WITHIN:
        return False
    if point.load is None or load is None:
        return True
    # No load on a bus is a few per cent: the engine turns itself and its accessories.
    return abs(point.load - load) <= (0.30 if point.load == 0.0 else _LOAD_WITHIN)


def _by_hand(bench: Bench, *quantities: str) -> Iterator[Reading]:
    """Yield the readings that a person entered, not those taken off a recording."""
    return (r for r in bench.readings(*quantities) if isinstance(r.entry.data, ReadingData))


def _house(name: str) -> str:
    return QUANTITIES[name].house


def _degrees(value: float) -> str:
    return f"{1.8 * value + 32.0:.0f} degF ({value:.0f} degC)"


def _difference(value: float, *, signed: bool = False) -> str:
    sign = "+" if signed else ""
    return f"{1.8 * value:{sign}.0f} degF ({value:{sign}.0f} degC)"
