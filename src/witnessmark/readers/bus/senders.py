"""Who sends how often, what is missing, and where two senders disagree."""

from __future__ import annotations

import numpy as np

from witnessmark.model.recording import Channel, Floats, Quality
from witnessmark.readers.told import Trouble
from witnessmark.units import QUANTITIES, display_unit, from_house
from witnessmark.words.numbers import percentage

__all__ = [
    "Pace",
    "Paces",
    "report_disagreement",
    "report_dropped",
    "report_errors",
    "report_unvouched",
]

#: Differences between two senders that are reported, by kind (house units).
_APART = {"speed_of_rotation": 30.0, "speed": 0.6, "temperature": 5.0, "pressure": 2e4,
          "ratio": 5.0, "voltage": 0.7}  # fmt: skip


class Pace:
    """How often a sender speaks, worked out once for all signals of a message.

    Attributes:
        usual: typical step between two samples [s]; NaN where it is not known.
        stretches: (first, end) between silences: a control unit may start again.
        silences: places of steps of more than 2 s that are no usual ones.
        missing: messages that seem to be missing from an even beat, and in how many places.
    """

    def __init__(self, time: Floats) -> None:
        size = time.size
        self.usual = float("nan")
        self.stretches = [(0, size)]
        self.silences: list[tuple[float, float]] = []
        self.missing = (0, 0)
        if size < 10 or np.isnan(time[0]):
            return
        steps = np.diff(time)
        some = steps[:: max(1, steps.size // 5000)]
        low, self.usual, high = (float(q) for q in np.percentile(some, [5, 50, 95]))
        odd = np.flatnonzero(steps > max(1.8 * self.usual, 1e-9))
        wide = steps[odd]
        pauses = odd[wide > max(1.0, 10.0 * self.usual)]
        cuts = (pauses + 1).tolist()[:20]
        self.stretches = list(zip([0, *cuts], [*cuts, size], strict=True))
        silent = odd[wide > max(2.0, 10.0 * self.usual)][:20]
        self.silences = [(float(time[i]), float(time[i + 1])) for i in silent]
        if size >= 100 and self.usual > 0.0 and high - low <= 0.6 * self.usual:
            short = wide[wide < 2.0]
            self.missing = (int(np.round(short / self.usual - 1.0).sum()), int(short.size))


class Paces:
    """The pace of every message, by its time stamps."""

    def __init__(self) -> None:
        self._known: dict[int, tuple[Floats, Pace]] = {}

    def of(self, channel: Channel) -> Pace:
        """Return the pace of the message that carries the channel."""
        key = id(channel.time_s)
        if key not in self._known:
            self._known[key] = (channel.time_s, Pace(channel.time_s))
        return self._known[key][1]


def report_errors(channels: list[Channel], trouble: Trouble) -> None:
    """Report the signals that a control unit replaces by the error code."""
    by_sender: dict[int | None, list[str]] = {}
    for channel in channels:
        errors = channel.count(Quality.ERROR)
        if errors and errors >= 0.9 * channel.quality.size:
            by_sender.setdefault(channel.source, []).append(channel.name)
    for source, names in by_sender.items():
        trouble.add(
            f"errors {source}",
            f"Control unit {source} reports a faulted sensor circuit instead of a value for "
            f"{', '.join(names)}.",
            do="These are no readings and no zeros; look at the trouble codes and the wiring.",
            where=names[0],
        )


def report_unvouched(channels: list[Channel], trouble: Trouble) -> None:
    """Report signals of which every sample is reserved, or is one its sensor does not vouch for."""
    by_sender: dict[int | None, list[str]] = {}
    for channel in channels:
        none = channel.count(Quality.RESERVED) + channel.count(Quality.START_UP)
        if channel.source is not None and none and not channel.valid().any():
            by_sender.setdefault(channel.source, []).append(channel.name)
    for source, names in by_sender.items():
        trouble.add(
            f"unvouched {source}",
            f"Control unit {source} sends no reading for {', '.join(names)}: reserved numbers, or "
            "values whose sensor says that it is not in range, not warm or not steady.",
            do="These are no readings and no zeros.",
            where=", ".join(names),
        )


def report_dropped(channels: list[Channel], paces: Paces, trouble: Trouble) -> None:
    """Messages that come like a clock and are missing here and there."""
    worst: tuple[float, str, int, int] | None = None
    for channel in channels:
        missing, places = paces.of(channel).missing
        share = missing / (channel.time_s.size + missing) if missing else 0.0
        if channel.source is not None and share > max(0.002, worst[0] if worst else 0.0):
            worst = (share, channel.name, missing, places)
    if worst is not None:
        trouble.add(
            "dropped",
            f"Frames were dropped: about {worst[2]:,} messages with {worst[1]} are missing in "
            f"{worst[3]:,} places ({percentage(worst[0], 1)}).",
            do="Check the recorder if fast changes matter.",
        )


def report_disagreement(channels: list[Channel], trouble: Trouble) -> None:
    """Report where two control units send different values for one quantity."""
    by_name: dict[str, list[Channel]] = {}
    for channel in channels:
        if channel.source is not None and channel.count(Quality.VALID) >= 10:
            by_name.setdefault(channel.name, []).append(channel)
    for name, found in by_name.items():
        row = QUANTITIES.get(name)
        if len(found) < 2 or row is None or row.kind not in _APART:
            continue
        found.sort(key=lambda c: c.source or 0)
        first = found[0]
        for other in found[1:]:
            if other.source == first.source:
                continue  # one unit's tyres or axles
            apart = _apart(first, other)
            if apart is not None and apart > _APART[row.kind]:
                unit = display_unit(name)
                shown = from_house(name, apart, unit) - from_house(name, 0.0, unit)
                trouble.add(
                    f"disagree {name} {other.source}",
                    f"Control units {first.source} and {other.source} disagree about {name}: "
                    f"typically {shown:.3g} {unit} apart.",
                    do=f"The one of control unit {first.source} is used.",
                    where=name,
                )


def _apart(first: Channel, other: Channel) -> float | None:
    """Return the typical difference at common times."""
    a, b = first.valid(), other.valid()
    start = max(first.time_s[a][0], other.time_s[b][0])
    end = min(first.time_s[a][-1], other.time_s[b][-1])
    if not end > start:
        return None
    grid = np.linspace(start, end, 500)
    return float(
        np.median(
            np.abs(
                np.interp(grid, first.time_s[a], first.values[a])
                - np.interp(grid, other.time_s[b], other.values[b])
            )
        )
    )
