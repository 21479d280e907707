"""Judge one trace: is it the quantity that moves, or the circuit that reads it?"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.sensors.leaps import leap_shows, shown
from witnessmark.analyses.sensors.liveliness import OFTEN, RARE, SELDOM, Profile, hypotheses
from witnessmark.analyses.sensors.trace_samples import SensorTrace
from witnessmark.physics.sensors.switching_filter import (
    Hypothesis,
    Lanes,
    Track,
    as_stretches,
    spacing_bin,
)

__all__ = [
    "TraceSpan",
    "TraceVerdict",
    "judge",
    "judge_all",
    "judge_many",
    "smallest_glitch",
]

Floats = npt.NDArray[np.float64]

#: Chances before the trace is looked at (judgement): most traces that are looked at are real.
PRIOR = {"real": 0.70, "contact": 0.18, "spikes": 0.06, "noise": 0.06}
#: From this log Bayes factor on a circuit fault is called seen (study: no false alarm).
SEEN_FROM = 5.0
#: Samples that count in a stretch of the filter, and samples that warm it up.
LENGTH, WARM_UP = 64, 20
#: Samples judged side by side; more at once only need more memory.
_AT_ONCE = 20_000
#: Dips that are tried [scale], and samples of the calm stretch that they are put into.
_SIZES = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 12.0, 20.0, 40.0)
_QUIET = 72
#: Allowance for what happens unseen between samples more than a second apart [1/s].
_SLOW = 0.2


@dataclass(frozen=True, slots=True)
class TraceSpan:
    """A stretch of time in which the circuit, not the quantity, made the reading.

    Attributes:
        start_s: first sample of it [s].
        end_s: last sample of it [s].
        change: reading less what the quantity was around it, house unit.
        rise_s: time within which the reading jumped [s].
        returned: whether the reading came back to within two steps of where it was.
        samples: number of samples.
    """

    start_s: float
    end_s: float
    change: float
    rise_s: float
    returned: bool
    samples: int


@dataclass(frozen=True, slots=True)
class TraceVerdict:
    """What was made of a trace.

    Attributes:
        log_factor: log Bayes factor of the best circuit explanation against the real one.
        probability: that a circuit fault shaped the trace.
        kinds: probability of real, contact, spikes, noise.
        kind: the likeliest of them.
        spans: what the circuit made, in order.
        moves: (start [s], end [s], change) of sudden real changes with the sensor's lag.
        level: shape (n,), the quantity behind the trace as the filter sees it, house unit.
        trace: what was judged.
    """

    log_factor: float
    probability: float
    kinds: Mapping[str, float]
    kind: str
    spans: tuple[TraceSpan, ...]
    moves: tuple[tuple[float, float, float], ...]
    level: Floats
    trace: SensorTrace


def judge(trace: SensorTrace, profile: Profile) -> TraceVerdict:
    """Return the verdict on one trace."""
    return judge_many([trace], profile)[0]


def judge_many(traces: Sequence[SensorTrace], profile: Profile) -> list[TraceVerdict]:
    """Return the verdicts on traces of one profile, worked out side by side."""
    return judge_all([(trace, profile) for trace in traces])


def judge_all(asked: Sequence[tuple[SensorTrace, Profile]]) -> list[TraceVerdict]:
    """Return the verdicts on traces, each with its own profile, worked out side by side."""
    found: list[TraceVerdict] = []
    group: list[tuple[SensorTrace, Profile]] = []
    samples = 0
    for trace, profile in asked:
        group.append((trace, profile))
        samples += trace.time.size
        if samples > _AT_ONCE:
            found += _judged(group)
            group, samples = [], 0
    return found + (_judged(group) if group else [])


def _judged(asked: Sequence[tuple[SensorTrace, Profile]]) -> list[TraceVerdict]:
    pieces, owner = [], []
    for number, (trace, profile) in enumerate(asked):
        for first, end in trace.pieces:
            scaled = trace.plain[first:end] / profile.scale
            spread: Floats | float = _variance(trace, profile)
            if trace.doubt is not None:
                spread = spread + trace.doubt[first:end] / profile.scale**2
            pieces.append((trace.time[first:end], scaled, spread))
            owner.append((number, first))
    data, origin = as_stretches(pieces, length=LENGTH, warm_up=WARM_UP)
    profiles = list(dict.fromkeys(profile for _, profile in asked))
    rivals = {profile: hypotheses(profile) for profile in profiles}
    names = list(rivals[profiles[0]])
    count = len(names)
    row_owner = np.array([owner[p][0] for p, _ in origin])
    its = np.array([profiles.index(profile) for _, profile in asked])[row_owner]
    # A lane is a stretch under one explanation; those of a stretch stand beside each other.
    lanes = Lanes(
        data,
        np.repeat(np.arange(row_owner.size), count),
        (its[:, None] * count + np.arange(count)).ravel(),
        [h for profile in profiles for h in rivals[profile].values()],
    )
    sums = np.zeros((len(asked), count))
    np.add.at(sums, row_owner, lanes.evidence.sum(axis=1).reshape(-1, count))
    rows = [np.flatnonzero(row_owner == n).tolist() for n in range(len(asked))]
    chosen: list[str] = []
    scores: list[dict[str, float]] = []
    for number, (trace, profile) in enumerate(asked):
        logs = dict(zip(names, (sums[number] - sums[number, 0]).tolist(), strict=True))
        name, logs = _best(logs, trace, rivals[profile])
        chosen.append(name)
        scores.append(logs)
    smoothed = iter(
        lanes.modes([r * count + names.index(chosen[n]) for n, own in enumerate(rows) for r in own])
    )
    found = []
    for number, (trace, profile) in enumerate(asked):
        own = rows[number]
        where = [owner[origin[r][0]][1] + origin[r][1] for r in own]
        mine = [r * count + names.index(chosen[number]) for r in own]
        modes = np.stack([next(smoothed) for _ in own])
        track = Track(lanes.evidence[mine], modes, lanes.level[mine])
        found.append(
            _verdict(
                trace, profile, scores[number], chosen[number], track, data.counted[own], where
            )
        )
    return found


def _best(
    evidence: dict[str, float], trace: SensorTrace, rival: Mapping[str, Hypothesis]
) -> tuple[str, dict[str, float]]:
    """Return the explanation whose spans are taken, and log factor by kind of explanation."""
    allowance = _SLOW * max(float(np.median(np.diff(trace.time))) - 1.0, 0.0)
    logs = {name: evidence[name] - h.onset() * trace.calm_s for name, h in rival.items()}
    often = {name for name in ("contact", "spikes") if logs[name] >= logs[name + RARE]}
    for name in ("contact", "spikes"):
        logs[name] = float(np.logaddexp(logs[name], logs.pop(name + RARE))) - math.log(2.0)
    logs = {name: x - allowance if name != "real" else x for name, x in logs.items()}
    best = max(("contact", "spikes", "noise"), key=lambda name: logs[name])
    name = best if logs[best] > 0.0 else "real"
    # Where single offsets explain it nearly as well, they say when and by how much.
    if logs["contact"] > 0.0 and logs["contact"] > logs[best] - 10.0:
        name = "contact"
    return (name if name in {*often, "real", "noise"} else name + RARE), logs


def smallest_glitch(trace: SensorTrace, profile: Profile) -> dict[float, float]:
    """Return seconds of a dip -> the smallest dip that would have been called, house unit.

    The detector itself is tried on a calm stretch at the trace's own sample times, resolution
    and noise, with one square dip put into it. Dips shorter than the time between samples are
    missed with the chance that no sample falls into them; see the sentence that uses this.
    """
    interval = float(np.median(np.diff(trace.time))) if trace.time.size > 1 else 1.0
    native = max(trace.interval, 1e-3)
    spacing = interval if trace.step == 0.0 else max(native, min(interval, 1.0))
    found: dict[float, float] = {}
    evidence = _trials(profile, spacing_bin(spacing), trace.step, trace.noise)
    for samples in (1, 2):
        real, contact, rare = evidence[samples - 1].T
        # The rest of the recording, where nothing happened, speaks against a fault.
        rest = max(float(trace.time[-1] - trace.time[0]) - (_QUIET - 1) * spacing, 0.0)
        both = np.logaddexp(contact - OFTEN * rest, rare - SELDOM * rest) - math.log(2.0)
        needed = SEEN_FROM + _SLOW * max(spacing - 1.0, 0.0)
        most = [leap_shows(s * profile.scale, spacing, trace.step, profile) for s in _SIZES]
        seen = [
            s
            for s, b, m in zip(_SIZES, both - real, most, strict=True)
            if b >= needed and 2.0 * m >= SEEN_FROM
        ]
        found[samples * spacing] = float(seen[0] * profile.scale) if seen else math.inf
    return found


@lru_cache(maxsize=256)
def _trials(profile: Profile, spacing: float, step: float, noise: float) -> Floats:
    """Return the log evidence of a calm stretch with a dip in it, shape (2, sizes, 3).

    First axis: dips of one sample and of two. Last: real, contact, rare contact. It is the same for
    all traces of one resolution and noise, so that a fleet works it out once.
    """
    steps = np.arange(float(_QUIET)) * spacing
    rng = np.random.default_rng(7)
    quiet = rng.normal(0.0, noise, steps.size) if noise > 0 else np.zeros(steps.size)
    rival = hypotheses(profile)
    trials = []
    for samples in (1, 2):
        for size in _SIZES:
            # 20.3: off the edge of a resolution step, so that rounding neither helps nor hides.
            series = 20.3 * profile.scale + quiet.copy()
            series[48 : 48 + samples] -= size * profile.scale
            if step > 0.0:
                series = np.round(series / step) * step
            trials.append((steps, series / profile.scale, _sample_variance(step, noise, profile)))
    data, _ = as_stretches(trials, length=steps.size, warm_up=0)
    asked = [rival[name] for name in ("real", "contact", "contact" + RARE)]
    rows, which = np.divmod(np.arange(3 * len(trials)), 3)
    lanes = Lanes(data, rows, which, asked, smooth=False)
    return np.asarray(lanes.evidence.sum(axis=1).reshape(2, len(_SIZES), 3))


def _variance(trace: SensorTrace, profile: Profile) -> float:
    """Return the variance of a sample [scale^2]: rounding to the resolution, and own noise."""
    return _sample_variance(trace.step, trace.noise, profile)


def _sample_variance(step: float, noise: float, profile: Profile) -> float:
    return max((0.12 * step**2 + noise**2) / profile.scale**2, 2.5e-3)


def _verdict(
    trace: SensorTrace, profile: Profile, logs: dict[str, float], name: str, track: Track,
    counted: npt.NDArray[np.bool_], where: list[int],
) -> TraceVerdict:  # fmt: skip
    weights = {k: math.log(PRIOR[k]) + logs[k] for k in PRIOR}
    top = max(weights.values())
    raw = {k: math.exp(max(v - top, -700.0)) for k, v in weights.items()}
    total = sum(raw.values())
    kinds = {k: v / total for k, v in raw.items()}
    size = trace.time.size
    names = [m.name for m in hypotheses(profile)[name].modes]
    fault, local, level = np.zeros(size), np.zeros(size), np.full(size, np.nan)
    modes = track.modes if track.modes is not None else np.zeros((*counted.shape, len(names)))
    bad = [i for i, n in enumerate(names) if n in {"short", "long", "open", "spike", "noisy"}]
    lively = [i for i, n in enumerate(names) if n in {"local", "local_again"}]
    for row, first in enumerate(where):
        mask = counted[row].copy()
        if first in {f for f, _ in trace.pieces}:
            mask[0] = True  # the first sample of a piece counts for nothing but belongs to it
        index = np.flatnonzero(mask)
        fault[first + index] = modes[row][index][:, bad].sum(axis=1) if bad else 0.0
        local[first + index] = modes[row][index][:, lively].sum(axis=1)
        level[first + index] = track.level[row, index] * profile.scale
    best = max(logs["contact"], logs["spikes"], logs["noise"])
    spans: tuple[TraceSpan, ...] = ()
    for least in (0.5, 0.25, 0.1) if best > 0.0 else ():
        spans = spans or _spans(trace, fault > least, profile, split=name != "noise")
    # The model of the quantity is only a model: what the readings themselves show is the limit.
    most = shown(
        trace.time, trace.plain, trace.pieces, trace.step, trace.doubt, profile,
        [(s.start_s, s.end_s) for s in spans],
    )  # fmt: skip
    if best > most:
        best = most
        rest = 1.0 / (1.0 + math.exp(-min(most, 50.0)) * PRIOR["real"] / (1.0 - PRIOR["real"]))
        if 1.0 - kinds["real"] > rest:
            faults = 1.0 - kinds["real"]
            kinds = {k: (1.0 - rest if k == "real" else p * rest / faults)
                     for k, p in kinds.items()}  # fmt: skip
    chance = 1.0 - kinds["real"]
    return TraceVerdict(
        log_factor=best,
        probability=chance,
        kinds=kinds,
        kind=max(kinds, key=lambda k: kinds[k]),
        spans=spans,
        moves=_moves(trace, local),
        level=level,
        trace=trace,
    )


def _spans(
    trace: SensorTrace, fault: npt.NDArray[np.bool_], profile: Profile, *, split: bool
) -> tuple[TraceSpan, ...]:
    """Return the spans of a mask; *split* leaves out what reads as the readings around it."""
    grain = max(trace.step, profile.scale)
    plain = trace.plain
    found = []
    edges = {a for a, _ in trace.pieces}
    cut = np.array(sorted(edges | {trace.time.size}))
    for first, end in _within(_runs(fault), cut):
        # What stands on the other side of a gap is no neighbour.
        low, high = int(cut[cut <= first].max()), int(cut[cut >= end].min())
        before = plain[max(first - 4, low) : first]
        after = plain[end : min(end + 4, high)]
        if before.size + after.size == 0:
            continue
        left = float(np.median(before)) if before.size else float(np.median(after))
        right = float(np.median(after)) if after.size else left
        away = plain[first:end] - np.linspace(left, right, end - first + 2)[1:-1]
        parts = _runs(np.abs(away) > 0.6 * grain) if split else [(0, end - first)]
        for begin, stop in parts:
            part = away[begin:stop]
            edge = first + begin
            back = plain[first + stop] if first + stop < high else math.nan
            was = plain[edge - 1] if edge > low else math.nan
            rise = float(trace.time[edge] - trace.time[edge - 1]) if edge > low else 0.0
            found.append(
                TraceSpan(
                    float(trace.time[edge]),
                    float(trace.time[first + stop - 1]),
                    float(part[np.argmax(np.abs(part))]),
                    rise,
                    bool(abs(back - was) <= 2.0 * grain),
                    stop - begin,
                )
            )
    return tuple(_without_rebounds(found, trace))


def _within(runs: list[tuple[int, int]], cut: npt.NDArray[np.int64]) -> list[tuple[int, int]]:
    """Cut runs at the gaps."""
    return [
        part
        for a, b in runs
        for part in itertools.pairwise([a, *(int(c) for c in cut if a < c < b), b])
    ]


def _without_rebounds(spans: list[TraceSpan], trace: SensorTrace) -> list[TraceSpan]:
    """Leave out a span that is nothing but the true reading between two glitches.

    Between two long glitches the filter may take the glitch for the truth; such a span touches
    spans of the other sign, which are in the majority, and is as large as they are.
    """
    near = 2.5 * float(np.median(np.diff(trace.time)))
    signs = [1 if s.change > 0 else -1 for s in spans]
    most = 1 if sum(signs) > 0 else -1

    def rebound(number: int) -> bool:
        span = spans[number]
        if signs[number] == most:
            return False
        beside = [k for k in (number - 1, number + 1) if 0 <= k < len(spans) and signs[k] == most]
        return any(
            min(abs(span.start_s - spans[k].end_s), abs(spans[k].start_s - span.end_s)) <= near
            and 0.5 < abs(span.change / spans[k].change) < 2.0
            for k in beside
        )

    return [s for k, s in enumerate(spans) if not rebound(k)]


def _moves(trace: SensorTrace, local: Floats) -> tuple[tuple[float, float, float], ...]:
    found = []
    for first, end in _runs(local > 0.5):
        begin = max(first - 1, 0)
        change = float(trace.values[end - 1] - trace.values[begin])
        found.append((float(trace.time[begin]), float(trace.time[end - 1]), change))
    return tuple(found)


def _runs(mask: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
