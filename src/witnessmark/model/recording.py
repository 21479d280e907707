"""What a reader makes of a file: channels with their own time stamps, codes and problems."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from enum import IntEnum
from typing import Literal

import numpy as np
import numpy.typing as npt

from witnessmark.model.problem import Problem

Floats = npt.NDArray[np.float64]
Kind = Literal["bus", "table", "waveform", "tooth_timing"]


class Quality(IntEnum):
    """What a sample is. Only ``VALID`` samples are readings; every other value is NaN."""

    VALID = 0
    ERROR = 1  #: the sender says its sensor circuit is at fault (0xFE..)
    NOT_AVAILABLE = 2  #: not fitted or not sent (0xFF..)
    RESERVED = 3  #: a code the standard keeps for itself (0xFB..0xFD)
    IMPLAUSIBLE = 4  #: outside the physically possible
    START_UP = 5  #: a default sent before the sensor was read
    SUBSTITUTED = 6  #: frozen or replaced by the control unit
    REPEATED = 7  #: carried forward by the recorder, not measured anew


#: Plain, for comparing arrays with it.
_VALID = int(Quality.VALID)


@dataclass(frozen=True, slots=True)
class Channel:
    """One signal of one sender.

    Attributes:
        name: name in the quantity table, or the file's own where we know no better.
        unit: house unit of *values*, or the file's unit for an unknown quantity.
        time_s: shape (n,), seconds on the recording's clock, not falling; read only.
        values: shape (n,), float64, NaN wherever *quality* is not ``VALID``; read only.
        quality: shape (n,), uint8 of :class:`Quality`; read only.
        label: the name that stood in the file, for the screen.
        spn: suspect parameter number of SAE J1939, or ``None``.
        source: source address on the bus, or ``None``.
        rate_hz: sampling rate where it is constant and known (waveforms).
        bus: interface or channel it came from, where the recording holds several; else empty.
    """

    name: str
    unit: str
    time_s: Floats
    values: Floats
    quality: npt.NDArray[np.uint8]
    label: str = ""
    spn: int | None = None
    source: int | None = None
    rate_hz: float | None = None
    bus: str = ""

    def __post_init__(self) -> None:
        if not (self.time_s.shape == self.values.shape == self.quality.shape):
            raise ValueError("time, values and quality of a channel have one shape")
        for array in (self.time_s, self.values, self.quality):
            array.flags.writeable = False

    def valid(self) -> npt.NDArray[np.bool_]:
        """Return the mask of the samples that are readings, shape (n,)."""
        return np.asarray(self.quality == _VALID)

    def count(self, quality: Quality) -> int:
        """Return how many samples have this quality."""
        return int(np.count_nonzero(self.quality == int(quality)))


@dataclass(frozen=True, slots=True)
class Flag:
    """A span of a channel that is not what it seems.

    Attributes:
        channel: channel name.
        quality: what is wrong with it.
        start_s: start [s].
        end_s: end [s].
        note: one sentence.
        source: source address of the channel, or ``None``.
        bus: bus of the channel.
    """

    channel: str
    quality: Quality
    start_s: float
    end_s: float
    note: str
    source: int | None = None
    bus: str = ""


@dataclass(frozen=True, slots=True)
class TroubleCode:
    """One diagnostic trouble code as it was broadcast (SAE J1939-73 DM1 or DM2).

    Attributes:
        spn: suspect parameter number.
        fmi: failure mode identifier.
        count: highest occurrence count seen, ``None`` when sent as not available.
        source: source address of the control unit.
        first_s: first time seen [s].
        last_s: last time seen [s].
        active: ``True`` from DM1 (active), ``False`` from DM2 (previously active).
        lamps: the lamps that were lit with it, in words.
        messages: number of messages that carried it.
        bus: interface or channel it came from, where the recording holds several; else empty.
    """

    spn: int
    fmi: int
    count: int | None
    source: int
    first_s: float
    last_s: float
    active: bool = True
    lamps: tuple[str, ...] = ()
    messages: int = 1
    bus: str = ""


@dataclass(frozen=True, slots=True)
class Steady:
    """A stretch over which the engine sat still on one operating point.

    Attributes:
        start_s: start [s].
        end_s: end [s].
        rpm: median engine speed [r/min].
        load: 0..1, or ``None`` where the load is not on the bus.
        name: what it is, such as ``idle`` or ``pull``.
        gear: gear in use where it can be told.
        warm: coolant at working temperature, ``None`` where not known.
        rpm_per_kmh: engine speed over road speed while moving [r/min per km/h].
        group: which of the gears seen in this recording it is, by that ratio, where the truck's own
            ratios are not known; empty otherwise.
    """

    start_s: float
    end_s: float
    rpm: float
    load: float | None = None
    name: str = ""
    gear: str | None = None
    warm: bool | None = None
    rpm_per_kmh: float | None = None
    group: str = ""


@dataclass(frozen=True, slots=True)
class Recording:
    """A file as read.

    Attributes:
        name: file name without its folder.
        sha256: digest of the file's bytes.
        kind: bus, table, waveform or tooth_timing.
        format: the reader that read it.
        duration_s: last minus first time stamp [s], ``None`` without time stamps.
        channels: in the order of their first sample.
        trouble_codes: active and previously active codes.
        flags: spans of channels that are not readings although they look like it.
        problems: faults in the file.
        frames: number of bus frames or table rows read.
        sources: source addresses seen on the bus.
        facts: further facts for the screen (identifiers masked), plain types only.
        buses: the buses of the recording where it holds several, the engine's own first.
        apart: the buses among them that carry another engine, or one that is not shown to be the
            same; what is on them never stands in for what is not on the first.
    """

    name: str
    sha256: str
    kind: Kind
    format: str
    duration_s: float | None
    channels: tuple[Channel, ...] = ()
    trouble_codes: tuple[TroubleCode, ...] = ()
    flags: tuple[Flag, ...] = ()
    problems: tuple[Problem, ...] = ()
    frames: int = 0
    sources: tuple[int, ...] = ()
    facts: dict[str, object] = field(default_factory=dict)
    buses: tuple[str, ...] = ()
    apart: tuple[str, ...] = ()

    def channel(
        self, name: str, *, source: int | None = None, bus: str | None = None
    ) -> Channel | None:
        """Return the best channel of that name.

        With *source* the one of that sender; without it the engine's own (address 0) if that
        has valid samples, otherwise the one with most valid samples; ``None`` when absent. Of
        several buses the engine's own comes first; one with another engine is only looked at
        where *bus* names it.
        """
        found = [c for c in self.channels if c.name == name and self._counts(c, bus)]
        if self.buses and bus is None:
            found.sort(key=lambda c: self.buses.index(c.bus) if c.bus in self.buses else -1)
        if source is not None:
            return next((c for c in found if c.source == source), None)
        if not found:
            return None
        engine = next((c for c in found if c.source == 0 and c.valid().any()), None)
        return engine or max(found, key=lambda c: c.count(Quality.VALID))

    def of_bus(self, bus: str) -> Recording:
        """Return what came over one bus, as a recording of its own."""
        return replace(
            self,
            channels=tuple(c for c in self.channels if c.bus == bus),
            trouble_codes=tuple(c for c in self.trouble_codes if c.bus == bus),
            flags=tuple(f for f in self.flags if f.bus == bus),
            buses=(),
            apart=(),
        )

    def _counts(self, channel: Channel, bus: str | None) -> bool:
        return channel.bus == bus if bus is not None else channel.bus not in self.apart
