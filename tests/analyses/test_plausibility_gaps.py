"""Gaps end what is known; defaults are no readings; leaps cap the odds. Real recordings, cut up."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from analyses.test_plausibility import CARS, COOLANT, car, channel, dipped, findings
from witnessmark.analyses.sensors.one_trace import SEEN_FROM, TraceVerdict, judge_many
from witnessmark.analyses.sensors.trace_samples import prepare
from witnessmark.model.recording import Floats
from witnessmark.readers import read_recording


def real_coolants(shared: Path) -> list[tuple[Floats, Floats]]:
    """Every real coolant trace of the collection (PROVENANCE.md: three cars and a ride)."""
    found = []
    for name in CARS:
        time, columns = car(shared / "data" / "obd_csv" / name)
        values = columns["coolant_temperature"]
        good = np.isfinite(values)
        # One reading in about a second, as the unit really sent it.
        kept = np.flatnonzero(good)[:: 10 if "2017" in name else 9]
        found.append((time[kept], values[kept]))
    ride = read_recording(shared / "data" / "j1939" / "ride_A.candump.log.gz")
    ridden = ride.channel("coolant_temperature")
    assert ridden is not None
    found.append((ridden.time_s[ridden.valid()], ridden.values[ridden.valid()]))
    return found


def window(
    trace: tuple[Floats, Floats], rng: np.random.Generator, *, gaps: int, defaults: bool
) -> tuple[Floats, Floats]:
    """A part of a trace with gaps, and what a unit sends behind each before it has measured."""
    time, values = trace
    length = rng.uniform(180.0, 900.0)
    begin = rng.uniform(time[0], max(time[-1] - length, time[0] + 1.0))
    inside = (time >= begin) & (time <= begin + length)
    t, v = time[inside], values[inside]
    for _ in range(gaps):
        if t.size < 40:
            break
        at, long = rng.uniform(t[0] + 10.0, t[-1] - 10.0), rng.uniform(21.0, 200.0)
        after = t[t > at + long]
        t, v = (x[(t < at) | (t > at + long)] for x in (t, v))
        if defaults and after.size > 5:
            count = int(rng.integers(1, 4))
            sent = float(rng.choice([-40.0, 0.0, 20.0]))
            when = after[0] - np.arange(count, 0, -1.0)
            place = int(np.searchsorted(t, when[0]))
            t, v = np.insert(t, place, when), np.insert(v, place, np.full(count, sent))
    return t, v


def judged(traces: list[tuple[Floats, Floats]]) -> list[TraceVerdict]:
    made = [prepare(t, v, COOLANT) for t, v in traces if t.size >= 10]
    return judge_many([m for m in made if m is not None], COOLANT)


def test_defaults_behind_a_gap_do_not_make_the_true_readings_a_fault(shared: Path) -> None:
    # Before: the readings 42, 43 ... 47 after a 73 s gap were called at more than 1000 to 1.
    time, values = real_coolants(shared)[2]
    first = float(time[values >= 42.0][0])
    before, after = time < first - 73.0, time >= first
    for sent in ([-40.0] * 3, [0.0], [20.0] * 3):
        t = np.concatenate([time[before], first - np.arange(len(sent), 0, -1.0), time[after]])
        v = np.concatenate([values[before], sent, values[after]])
        (verdict,) = judged([(t, v)])
        assert verdict.log_factor < SEEN_FROM
        assert verdict.probability < 0.5
        found = findings(channel("coolant_temperature", t, v))
        assert {f.code: f.outcome for f in found}["coolant_temperature_jumps"] == "not_seen"


@pytest.mark.parametrize("behind", [1, 2])
def test_a_default_with_one_or_two_readings_before_the_next_gap_is_no_fault(behind: int) -> None:
    """Before: 70 degC in a second, called at 650 to 1, on a real car's readings cut up so."""
    t, v = np.arange(0.0, 300.0), np.full(300, 90.0)
    short = 430.0 + np.arange(1.0 + behind), np.array([20.0] + [90.0] * behind)
    time = np.concatenate([t, short[0], 600.0 + t])
    for rest in (short[1], short[1][::-1]):  # the unit wakes, or goes to sleep
        (verdict,) = judged([(time, np.concatenate([v, rest, v]))])
        assert verdict.log_factor < SEEN_FROM
    # Several values one after another, none of them read: the same (before: 19.5 in log odds).
    sent = np.array([0.0, 0.0, -40.0, -40.0, 0.0, 0.0, 20.0])
    time = np.concatenate([t, 430.0 + np.arange(7.0), 437.0 + t])
    (verdict,) = judged([(time, np.concatenate([v, sent, v]))])
    assert verdict.log_factor < SEEN_FROM
    # What goes and comes back between readings that stay is none.
    v[100:103] = 60.0
    (verdict,) = judged([(np.concatenate([t, 600.0 + t]), np.concatenate([v, v]))])
    assert verdict.log_factor >= SEEN_FROM


@pytest.mark.parametrize("defaults", [False, True])
def test_no_alarm_in_any_window_of_the_real_recordings(shared: Path, defaults: bool) -> None:
    rng = np.random.default_rng(2101)
    cut = [
        window(trace, rng, gaps=int(rng.integers(0, 4)), defaults=defaults)
        for trace in real_coolants(shared)
        for _ in range(15)
    ]
    verdicts = judged(cut)
    assert len(verdicts) >= 50
    assert [v.log_factor for v in verdicts if v.log_factor >= SEEN_FROM] == []


def test_13_of_13_windows_with_dips_of_4_to_8_degrees_are_found(shared: Path) -> None:
    rng = np.random.default_rng(2102)
    traces = real_coolants(shared)
    made = []
    for number in range(13):
        t, v = window(traces[number % 4], rng, gaps=1, defaults=False)
        # Two dips, where the recording has readings on both sides of them.
        inside = t[(np.searchsorted(t, t + 12.0) - np.searchsorted(t, t - 12.0)) >= 10]
        starts = [float(x) for x in rng.choice(inside, 2)]
        made.append((t, np.round(dipped(t, v, starts, -float(rng.uniform(4.0, 8.0)), 3.0))))
    verdicts = judged(made)
    assert [v.log_factor >= SEEN_FROM and bool(v.spans) for v in verdicts] == [True] * 13


def test_the_odds_are_no_stronger_than_the_leaps_of_the_trace() -> None:
    # A step up that stays, once: nothing real leaps 12 degC in a second, but it is one leap.
    time = np.arange(0.0, 900.0)
    values = np.where(time < 450.0, 80.0, 92.0)
    (verdict,) = judged([(time, values)])
    assert verdict.log_factor <= 6.5
    # A rise that the engine can make within the pause between two readings is no leap at all.
    slow = np.arange(0.0, 900.0, 15.0)
    (verdict,) = judged([(slow, np.where(slow < 450.0, 80.0, 86.0))])
    assert verdict.log_factor < SEEN_FROM
