"""What a picture of a judged trace needs: few enough points, and the band of the credible."""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt

from witnessmark.analyses.sensors.liveliness import Profile
from witnessmark.analyses.sensors.one_trace import TraceVerdict
from witnessmark.analyses.sensors.trace_samples import SensorTrace

__all__ = ["credible_band", "drawn"]

Floats = npt.NDArray[np.float64]

#: Points of an overview, and of the closer look at the clearest span.
_OVERVIEW, _CLOSE = 500, 160
#: A sudden real change ends here (a cold slug), in scales of the quantity.
_SLUG = 15.0


def drawn(verdict: TraceVerdict, profile: Profile) -> dict[str, object]:
    """Return plain lists: time, values, low and high of the band, spans, and a closer look.

    Args:
        verdict: what was made of the trace.
        profile: what the quantity can do.
    """
    trace = verdict.trace
    low, high = credible_band(verdict, profile)
    seen = verdict.spans if verdict.probability > 0.5 else ()
    found: dict[str, object] = {
        "overview": _lists(trace, low, high, _few(trace.values, _OVERVIEW)),
        "spans": [[s.start_s, s.end_s] for s in seen],
    }
    if seen:
        clearest = max(seen, key=lambda s: (s.returned, abs(s.change)))
        margin = max(12.0, 10.0 * verdict.trace.interval)
        end = min(clearest.end_s, clearest.start_s + 60.0)
        inside = np.flatnonzero(
            (trace.time >= clearest.start_s - margin) & (trace.time <= end + margin)
        )
        if inside.size >= 4:
            found["close"] = _lists(trace, low, high, inside[_few(trace.values[inside], _CLOSE)])
    return found


def credible_band(verdict: TraceVerdict, profile: Profile) -> tuple[Floats, Floats]:
    """Return the lowest and highest reading that the quantity itself could make, at each sample.

    From every trusted reading (outside the flagged spans) the quantity can move at its largest
    credible rate for a second or so (a slug arriving), then at a tenth of it (all the heat of full
    load in coolant and wetted iron makes 0.3 K/s), and not beyond a cold slug.
    """
    trace = verdict.trace
    trusted = np.ones(trace.time.size, np.bool_)
    if verdict.probability > 0.5:
        for span in verdict.spans:
            trusted &= (trace.time < span.start_s) | (trace.time > span.end_s)
    if not trusted.any():
        trusted[:] = True
    where = np.flatnonzero(trusted)
    index = np.arange(trace.time.size)
    # A reading is held against its trusted neighbours, never against itself.
    before = where[np.clip(np.searchsorted(where, index, side="left") - 1, 0, where.size - 1)]
    after = where[np.clip(np.searchsorted(where, index, side="right"), 0, where.size - 1)]
    grain = max(trace.step, 0.3 * profile.scale)
    plain = trace.plain
    low = np.maximum(
        plain[before] - _reach(trace.time - trace.time[before], profile),
        plain[after] - _reach(trace.time[after] - trace.time, profile),
    )
    high = np.minimum(
        plain[before] + _reach(trace.time - trace.time[before], profile),
        plain[after] + _reach(trace.time[after] - trace.time, profile),
    )
    room = grain if trace.doubt is None else np.hypot(grain, np.sqrt(trace.doubt))
    # What the engine's work explains is put back.
    work = 0.0 if trace.work is None else trace.work
    return np.minimum(low, high) - room + work, np.maximum(low, high) + room + work


def _reach(elapsed: Floats, profile: Profile) -> Floats:
    span = np.abs(elapsed)
    reach = profile.credible * (np.minimum(span, 1.5) + 0.1 * np.maximum(span - 1.5, 0.0))
    return np.asarray(np.minimum(reach, _SLUG * profile.scale))


def _lists(trace: SensorTrace, low: Floats, high: Floats, index: npt.NDArray[np.int64]) -> object:
    return {
        "time": trace.time[index].tolist(),
        "values": trace.values[index].tolist(),
        "low": low[index].tolist(),
        "high": high[index].tolist(),
    }


def _few(values: Floats, most: int) -> npt.NDArray[np.int64]:
    """Return which samples to draw: the lowest and highest of every stretch, in order."""
    if values.size <= most:
        return np.arange(values.size)
    edges = np.linspace(0, values.size, most // 2 + 1).astype(np.int64)
    picked = [0, values.size - 1]
    for first, end in itertools.pairwise(edges):
        part = values[first:end]
        picked += [int(first + np.argmin(part)), int(first + np.argmax(part))]
    return np.unique(np.array(picked, np.int64))
