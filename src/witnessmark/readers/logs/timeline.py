"""Time stamps as a recorder wrote them, made into one clock that does not fall.

Doubled, backward and leaping stamps and counter wraps are repaired where the repair is plain,
and always reported.
"""

from __future__ import annotations

import numpy as np

from witnessmark.model.recording import Floats
from witnessmark.readers.told import Trouble

#: Spans of counters that wrap [s]: 16 and 32 bits of milli- and microseconds and their tenths.
_WRAPS = (65.536, 429.4967296, 4294.967296, 6553.6, 42949.67296, 429496.7296, 4294967.296)
#: A step back by less than this is frames out of order, not a new clock [s].
OUT_OF_ORDER_S = 1.0
#: A step forward by more than this is a clock that was set, not a pause [s].
LEAP_S = 86400.0
#: A silence longer than this is reported as a gap [s].
GAP_S = 1.0


class Timeline:
    """Takes the stamps a piece at a time.

    Attributes:
        first_s: first stamp of the repaired clock.
        last_s: highest stamp so far.
        doubled: consecutive pairs with the same stamp.
        backward: steps back.
        gaps: (start, end) of silences, the longest first kept.
        unordered: some stamps stand out of order by less than :data:`OUT_OF_ORDER_S`.
    """

    def __init__(self, trouble: Trouble, *, what: str = "frames", day_wraps: bool = False) -> None:
        self.trouble = trouble
        self.what = what
        self.epoch_s: float | None = None
        self._wraps = (86400.0, *_WRAPS) if day_wraps else _WRAPS
        self.first_s: float | None = None
        self.last_s = -np.inf
        self.doubled = 0
        self.backward = 0
        self.gap_count = 0
        self.gaps: list[tuple[float, float]] = []
        self.unordered = False
        self._previous = np.nan
        self._shift = 0.0

    def repaired(self, stamps: Floats) -> Floats:
        """Return *stamps* on the clock of the whole recording."""
        if not stamps.size or np.isnan(stamps[0]):
            return stamps
        times = stamps + self._shift if self._shift else stamps
        before = times[0] if np.isnan(self._previous) else self._previous
        steps = np.empty_like(times)
        steps[0] = times[0] - before
        np.subtract(times[1:], times[:-1], out=steps[1:])
        least = float(steps.min())
        if least <= 0.0:
            self.doubled += int(np.count_nonzero(steps == 0.0)) - int(np.isnan(self._previous))
        rising = least >= 0.0
        if not rising or steps.max() > GAP_S:
            odd = np.flatnonzero((steps < 0.0) | (steps > GAP_S))
            times = self._odd(times, steps, odd)
            rising = False
            if not self.unordered:
                # Counting on must not fall by the last digit of a sum.
                times = np.maximum.accumulate(np.maximum(times, self.last_s))
        if self.first_s is None:
            self.first_s = float(times[0])
        self.last_s = max(self.last_s, float(times[-1] if rising else times.max()))
        self.first_s = min(self.first_s, float(times[0] if rising else times.min()))
        self._previous = float(times[-1])
        return times

    def report(self) -> None:
        """Turn what was found into problems."""
        if self.backward:
            self.trouble.add(
                "backward",
                f"{self.backward:,} time stamps go backwards.",
                do="They are put in order or counted on; check the recorder's clock.",
            )
        if self.gap_count:
            longest = max(self.gaps, key=lambda g: g[1] - g[0])
            self.trouble.add(
                "gaps",
                f"{self.gap_count:,} gaps of more than {GAP_S:.0f} s without {self.what}; the "
                f"longest is {longest[1] - longest[0]:.3f} s from {longest[0]:.3f} s.",
                do="Nothing is known about these spans.",
            )
        if self.doubled:
            self.trouble.add(
                "doubled",
                f"{self.doubled:,} consecutive {self.what} carry the same time stamp.",
                do="Rates over such short times are not judged.",
            )

    @property
    def duration_s(self) -> float | None:
        """Return last minus first stamp, ``None`` without time stamps."""
        return None if self.first_s is None else float(self.last_s - self.first_s)

    def _odd(self, times: Floats, steps: Floats, odd: np.ndarray) -> Floats:
        times = times.copy()
        high = self.last_s
        for at in odd[:100_000]:
            step = float(steps[at])
            if at:
                high = max(high, float(times[:at].max())) if self.unordered else float(
                    max(self.last_s, times[at - 1])
                )  # fmt: skip
            if step < 0.0:
                self.backward += 1
                if step > -OUT_OF_ORDER_S:
                    self.unordered = True
                    continue
                wrap = next((w for w in self._wraps if abs(step + w) < 0.02 * w), None)
                more = wrap if wrap is not None else -step
                self._move(times, int(at), more)
                kind = "counter wrapped" if wrap is not None else "clock was set back"
                self.trouble.add(
                    kind,
                    f"The recorder's {kind} by {-step:.3f} s at {times[at]:.3f} s "
                    "({count} times in all); the time is counted on from there.",
                    do="Do not compare times across that place.",
                )
            elif step > LEAP_S:
                self._move(times, int(at), -step)
                self.trouble.add(
                    "leap",
                    f"The clock leaps ahead by {step:,.0f} s at {times[at]:.3f} s ({{count}} times "
                    "in all); the time is counted on from there.",
                    do="How long the pause was is not known.",
                )
            else:
                self.gap_count += 1
                self.gaps.append((float(times[at] - step), float(times[at])))
                if len(self.gaps) > 200:
                    self.gaps.sort(key=lambda g: g[0] - g[1])
                    del self.gaps[100:]
        return times

    def _move(self, times: Floats, at: int, by: float) -> None:
        times[at:] += by
        self._shift += by
