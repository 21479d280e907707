"""Record a truck's data bus: every frame to a file, the values and the road-test card beside it."""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from witnessmark.analyses.road.road_test import CardLine, road_test_card
from witnessmark.analyses.steady import STANDING, WARM_DEGC
from witnessmark.errors import InputRefused, NothingUsable
from witnessmark.knowledge import Knowledge, load_knowledge
from witnessmark.knowledge.bands import Band
from witnessmark.model.entries.entry_data import TruckData
from witnessmark.model.finding import OperatingPoint
from witnessmark.model.recording import Quality
from witnessmark.model.step import Step
from witnessmark.readers.bus.live import LiveValues
from witnessmark.units import QUANTITIES, display_unit, from_house

__all__ = ["RecordProgress", "parse_bus", "record"]

#: Frames reach the system at least this often; after a kill no more than this is lost [s].
FLUSH_S = 0.25
#: Frames reach the disk at least this often; after a power cut no more than this is lost [s].
SYNC_S = 1.0
#: A bus that went away is tried again this often [s].
RETRY_S = 1.0


@dataclass(frozen=True, slots=True)
class RecordProgress:
    """Where a recording stands.

    Attributes:
        seconds: time recorded.
        frames: frames written.
        connected: the bus is there.
        interruptions: how often it went away.
        values: quantity -> shown text with its unit, and where its band is, in words.
        card: the road-test card.
        bands: for every quantity with a band, what the band is and who says so.
    """

    seconds: float
    frames: int
    connected: bool
    interruptions: int
    values: dict[str, str]
    card: tuple[CardLine, ...]
    bands: dict[str, str] = field(default_factory=dict)


def parse_bus(text: str) -> tuple[str, str]:
    """Take ``interface:channel`` apart, such as ``socketcan:can0``.

    Raises:
        InputRefused: no such form.
    """
    interface, mark, channel = text.partition(":")
    if not mark or not interface or not channel:
        raise InputRefused(
            f"'{text[:60]}' does not name a bus.",
            do="Write interface:channel, such as socketcan:can0 or udp_multicast:239.0.0.1.",
        )
    return interface, channel


def record(
    bus: str,
    out: Path,
    *,
    seconds: float | None = None,
    bitrate: int | None = None,
    families: Sequence[str] = (),
    truck: TruckData | None = None,
    stops: Sequence[Step] = (),
    knowledge: Knowledge | None = None,
    si: bool = False,
    every_s: float = 1.0,
    tell: Callable[[RecordProgress], None] | None = None,
    stop: Callable[[], bool] = lambda: False,
) -> RecordProgress:
    """Record until *seconds* are over, *stop* says so, or the person interrupts.

    The file is candump text, one whole line a frame, so it can be read however it ends. A bus
    that goes away is waited for; the file goes on when it is back.

    Args:
        bus: ``interface:channel`` as python-can names them.
        out: the file; it must not be there yet.
        seconds: how long, ``None`` until it is stopped.
        bitrate: bits per second where the interface needs it; trucks use 250,000 or 500,000.
        families: complaint families, for the road-test card.
        truck: for the gears, and for the bands of its type of engine.
        stops: the safety stops that stand on the case; the card obeys them.
        knowledge: the packs with the bands; the shipped ones when not given.
        si: show SI units.
        every_s: how often *tell* is called.
        tell: is told the progress.
        stop: asked a few times a second.

    Raises:
        InputRefused: the bus cannot be opened, or the file is already there.
        NothingUsable: no frame came.
    """
    interface, channel = parse_bus(bus)
    try:
        file = out.open("xb", buffering=1 << 16)
    except FileExistsError:
        raise InputRefused(
            "The file is already there.", where=str(out), do="Give a new name; nothing is lost."
        ) from None
    except OSError as error:
        raise InputRefused(
            f"The file cannot be written: {error.strerror}.", where=str(out), do="Check the folder."
        ) from None
    live = LiveValues()
    state = _State()
    shown = _Shown(tuple(families), truck, knowledge or load_knowledge(), si, tuple(stops))
    line = _Connection(interface, channel, bitrate)

    def say() -> None:
        if tell is not None:
            state.connected = line.is_up()
            tell(_progress(live, state, shown))

    try:
        with file:
            line.open(first=True)
            _loop(line, file, live, state, (seconds, every_s), stop, say)
    except InputRefused:
        if not live.frames:
            out.unlink(missing_ok=True)
        raise
    finally:
        state.connected = line.is_up()
        line.close()
    if not live.frames:
        out.unlink(missing_ok=True)
        raise NothingUsable(
            "No frame came from the bus.",
            where=bus,
            do="Check the connector, the key and the bit rate (250,000 or 500,000).",
        )
    return _progress(live, state, shown)


@dataclass(slots=True)
class _State:
    interruptions: int = 0
    connected: bool = False


class _Connection:
    """The bus; opened again when it went away."""

    def __init__(self, interface: str, channel: str, bitrate: int | None) -> None:
        self.interface, self.channel, self.bitrate = interface, channel, bitrate
        self._bus: Any = None

    def is_up(self) -> bool:
        return self._bus is not None

    def open(self, *, first: bool = False) -> bool:
        import can  # noqa: PLC0415  (slow to load)

        extra: dict[str, Any] = {} if self.bitrate is None else {"bitrate": self.bitrate}
        try:
            self._bus = can.Bus(interface=self.interface, channel=self.channel, **extra)
        except (can.CanError, OSError, ValueError, ImportError, TypeError, AttributeError) as error:
            self._bus = None
            if first:
                reason = str(error).splitlines()[0][:160] if str(error) else type(error).__name__
                raise InputRefused(
                    f"The bus cannot be opened: {reason.rstrip('.')}.",
                    where=f"{self.interface}:{self.channel}",
                    do="Check the adapter, its driver and the name of the bus.",
                ) from None
            return False
        return True

    def receive(self, timeout: float) -> Any:
        """Return the next message, ``None`` where none came; the connection may be gone after."""
        import can  # noqa: PLC0415

        try:
            return self._bus.recv(timeout)
        except (can.CanError, OSError, ValueError):
            self.close()
            return None

    def close(self) -> None:
        import can  # noqa: PLC0415

        if self._bus is not None:
            with contextlib.suppress(can.CanError, OSError):
                self._bus.shutdown()
            self._bus = None


def _loop(
    line: _Connection,
    file: IO[bytes],
    live: LiveValues,
    state: _State,
    limits: tuple[float | None, float],
    stop: Callable[[], bool],
    tell: Callable[[], None],
) -> None:
    seconds, every_s = limits
    begin = flushed = synced = told = retried = time.monotonic()
    name = line.channel.encode("ascii", "replace").replace(b" ", b"_").replace(b":", b"_")[:15]
    if not name[:1].isalpha():
        name = (b"can" + name)[:15]
    try:
        while not stop():
            now = time.monotonic()
            if seconds is not None and now - begin >= seconds:
                return
            if now - flushed >= FLUSH_S:
                file.flush()
                flushed = now
            if now - synced >= SYNC_S:
                os.fsync(file.fileno())
                synced = now
            if now - told >= every_s:
                tell()
                told = now
            if not line.is_up():
                if now - retried >= RETRY_S:
                    retried = now
                    line.open()
                else:
                    time.sleep(0.05)
                continue
            message = line.receive(0.1)
            if message is not None:
                _write(file, live, message, name)
            elif not line.is_up():
                state.interruptions += 1
                retried = time.monotonic()
                file.flush()
    except KeyboardInterrupt:
        return
    finally:
        file.flush()
        os.fsync(file.fileno())


def _write(file: IO[bytes], live: LiveValues, message: Any, name: bytes) -> None:
    if message.is_error_frame or message.is_fd:
        return
    width = 8 if message.is_extended_id else 3
    data = b"R" if message.is_remote_frame else bytes(message.data).hex().upper().encode()
    file.write(
        b"(%017.6f) %s %0*X#%s\n" % (message.timestamp, name, width, message.arbitration_id, data)
    )
    if not message.is_remote_frame:
        live.feed(
            message.timestamp, message.arbitration_id, message.is_extended_id, bytes(message.data)
        )


@dataclass(frozen=True, slots=True)
class _Shown:
    """What a person wants to see of the values."""

    families: tuple[str, ...]
    truck: TruckData | None
    knowledge: Knowledge
    si: bool
    stops: tuple[Step, ...] = ()


def _progress(live: LiveValues, state: _State, shown: _Shown) -> RecordProgress:
    recording = live.recording("live")
    card = (
        road_test_card(
            shown.families, [recording], shown.truck, shown.stops, knowledge=shown.knowledge
        )
        if shown.families
        else ()
    )
    values, bands = {}, {}
    for name in live.latest:
        band = _band(name, live, shown)
        values[name] = _text(name, live, band, shown.si)
        if band is not None:
            bands[name] = f"{band.words} ({band.source.kind}: {band.source.words})"
    return RecordProgress(
        live.last_s, live.frames, state.connected, state.interruptions, values, card, bands
    )


def _text(name: str, live: LiveValues, band: Band | None, si: bool) -> str:
    value, quality = live.latest[name]
    if value is None:
        return {
            Quality.ERROR: "sensor circuit at fault",
            Quality.NOT_AVAILABLE: "not available",
        }.get(quality, "no reading")
    unit = display_unit(name, si=si)
    text = f"{from_house(name, value, unit):.4g} {unit}"
    if band is None:
        return text
    low, high = band.low, band.high
    if low is not None and value < low:
        return f"{text}, below its band: {_span(name, band, unit)}"
    if high is not None and value > high:
        return f"{text}, above its band: {_span(name, band, unit)}"
    return f"{text}, in its band: {_span(name, band, unit)}"


def _span(name: str, band: Band, unit: str) -> str:
    low, high = (
        None if end is None else f"{from_house(name, end, unit):.4g}"
        for end in (band.low, band.high)
    )
    if low is None:
        return f"at most {high} {unit}"
    return f"at least {low} {unit}" if high is None else f"{low} to {high} {unit}"


def _band(name: str, live: LiveValues, shown: _Shown) -> Band | None:
    """Return the healthy band at this engine speed and load, where one is known for certain."""
    if QUANTITIES[name].kind not in {"pressure", "temperature", "voltage"}:
        return None
    rpm, load, coolant, road = (
        live.latest.get(quantity, (None, Quality.NOT_AVAILABLE))[0]
        for quantity in ("engine_speed", "engine_load", "coolant_temperature", "road_speed")
    )
    if road is not None and road <= STANDING:
        load = 0.0  # a parked engine reports 10 to 30 % to keep itself going; the road asks none
    point = OperatingPoint(
        rpm=rpm,
        load=None if load is None else load / 100.0,
        warm=None if coolant is None else coolant >= WARM_DEGC,
    )
    engine = shown.truck.engine if shown.truck is not None else None
    supply, kind = (engine.fuel_supply, engine.type) if engine is not None else (None, None)
    for band in shown.knowledge.bands:
        if band.quantity == name and band.applies_to(supply, kind) and not band.not_valid_at(point):
            return band
    return None
