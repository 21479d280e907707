"""Frames as they come in: the latest values, and a short history for the road-test card."""

from __future__ import annotations

import numpy as np

from witnessmark.model.recording import Channel, Quality, Recording
from witnessmark.readers.bus.decode import decode
from witnessmark.readers.bus.j1939_signals import SIGNALS, Signal, by_group

__all__ = ["LiveValues"]

#: What is shown while recording.
_SHOWN = (
    "engine_speed", "engine_load", "pedal_position", "road_speed", "coolant_temperature",
    "oil_pressure", "fuel_delivery_pressure", "boost_pressure", "oil_temperature",
    "intake_air_temperature", "battery_voltage",
)  # fmt: skip
#: Shortest time between two samples kept [s]: enough for the card, little memory in a long drive.
_KEEP_S = 0.1
#: Samples kept of each quantity, two hours of them; a recording of a week keeps no more.
_MOST = 72_000


class LiveValues:
    """Feeds on single frames.

    Attributes:
        frames: frames seen.
        latest: quantity -> (value in the house unit, or ``None`` where the sender says error or
            not available; the quality).
    """

    def __init__(self) -> None:
        wanted = tuple(s for s in SIGNALS if s.name in _SHOWN)
        self._groups = by_group(wanted)
        self._history: dict[str, tuple[list[float], list[float]]] = {}
        self._source: dict[str, int] = {}
        self.frames = 0
        self.first_s: float | None = None
        self.last_s = 0.0
        self.latest: dict[str, tuple[float | None, Quality]] = {}

    def feed(self, time_s: float, identifier: int, extended: bool, data: bytes) -> None:
        """Take one frame as it arrives (seconds on any clock that does not fall)."""
        self.frames += 1
        if self.first_s is None:
            self.first_s = time_s
        self.last_s = max(self.last_s, time_s - self.first_s)
        if not extended:
            return
        pgn = (identifier >> 8) & 0x3FFFF
        pgn = pgn if (pgn >> 8) & 0xFF >= 240 else pgn & 0x3FF00
        for signal in self._groups.get(pgn, ()):
            if len(data) >= signal.bytes_needed:
                self._take(signal, identifier & 0xFF, time_s - self.first_s, data)

    def recording(self, name: str) -> Recording:
        """Return what was kept so far as a recording (for the steady points and the card)."""
        channels = []
        for quantity, (times, values) in self._history.items():
            signal = next(s for s in SIGNALS if s.name == quantity)
            time = np.maximum.accumulate(np.array(times))
            channels.append(
                Channel(
                    quantity,
                    signal.unit,
                    time,
                    np.array(values),
                    np.zeros(time.size, np.uint8),
                    spn=signal.spn,
                    source=self._source[quantity],
                )
            )
        return Recording(name, "", "bus", "live", self.last_s, tuple(channels), frames=self.frames)

    def _take(self, signal: Signal, source: int, time_s: float, data: bytes) -> None:
        # The engine's own address is preferred; another one stands in until it speaks.
        known = self._source.get(signal.name)
        if known is not None and source != known and not (source == 0 and known != 0):
            return
        word = int.from_bytes(data[:8].ljust(8, b"\xff"), "little")
        raw = np.array([(word >> signal.start) & ((1 << signal.bits) - 1)], np.uint64)
        values, codes = decode(raw, signal)
        quality = Quality(int(codes[0]))
        if quality is not Quality.VALID:
            if known == source or known is None:
                self.latest[signal.name] = (None, quality)
            return
        self._source[signal.name] = source
        value = float(values[0])
        self.latest[signal.name] = (value, quality)
        times, kept = self._history.setdefault(signal.name, ([], []))
        if not times or time_s - times[-1] >= _KEEP_S:
            times.append(time_s)
            kept.append(value)
            if len(times) >= 2 * _MOST:
                del times[:_MOST], kept[:_MOST]
