"""Record a truck's data bus: every frame to a file, the values and the road-test card beside it."""

from __future__ import annotations

import contextlib
import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

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
from witnessmark.workflow.recordings.adapters import find_bitrate, quiet_options
from witnessmark.workflow.recordings.line_file import DiskFull, LineFile

__all__ = ["RecordProgress", "parse_bus", "record"]

#: Frames reach the system at least this often; after a kill no more than this is lost [s].
FLUSH_S = 0.25
#: Frames reach the disk at least this often; after a power cut no more than this is lost [s].
SYNC_S = 1.0
#: A bus that went away is tried again this often [s].
RETRY_S = 1.0
#: Stamps this close to the machine's clock are of that clock [s].
_SAME_CLOCK_S = 5.0
#: Frames come within this time, whatever the bus [s].
_LATE_S = 0.2
#: Frames of one bus taken before the next bus is looked at.
_AT_ONCE = 200


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
        files: the files, in order; more than one where they are rotated.
        stopped: why it ended before it was told to, in a sentence; empty otherwise.
        listens_only: bus -> whether its adapter promised to send nothing, not even
            acknowledgements.
    """

    seconds: float
    frames: int
    connected: bool
    interruptions: int
    values: dict[str, str]
    card: tuple[CardLine, ...]
    bands: dict[str, str] = field(default_factory=dict)
    files: tuple[str, ...] = ()
    stopped: str = ""
    listens_only: dict[str, bool] = field(default_factory=dict)


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
    bus: str | Sequence[str],
    out: Path,
    *,
    seconds: float | None = None,
    bitrate: int | Literal["auto"] | None = None,
    families: Sequence[str] = (),
    truck: TruckData | None = None,
    stops: Sequence[Step] = (),
    knowledge: Knowledge | None = None,
    si: bool = False,
    every_s: float = 1.0,
    tell: Callable[[RecordProgress], None] | None = None,
    stop: Callable[[], bool] = lambda: False,
    rotate_bytes: int | None = None,
) -> RecordProgress:
    """Record until *seconds* are over, *stop* says so, or the person interrupts.

    The file is candump text, one whole line a frame, so it can be read however it ends. A bus
    that goes away is waited for; the file goes on when it is back.

    Args:
        bus: ``interface:channel`` as python-can names them; several are recorded together, with
            the stamps of all on this machine's clock.
        out: the file; it must not be there yet.
        seconds: how long, ``None`` until it is stopped.
        bitrate: bits per second where the interface needs it; trucks use 250,000 or 500,000.
            ``auto`` finds it by listening, with an adapter that can do nothing else.
        families: complaint families, for the road-test card.
        truck: for the gears, and for the bands of its type of engine.
        stops: the safety stops that stand on the case; the card obeys them.
        knowledge: the packs with the bands; the shipped ones when not given.
        si: show SI units.
        every_s: how often *tell* is called.
        tell: is told the progress.
        stop: asked a few times a second.
        rotate_bytes: begin a new file behind so many bytes.

    Raises:
        InputRefused: the bus cannot be opened, or the file is already there.
        NothingUsable: no frame came.
    """
    names = [bus] if isinstance(bus, str) else list(bus)
    lines = [_Connection(*at, _rate(*at, bitrate)) for at in map(parse_bus, names)]
    _name_apart(lines)
    file = LineFile(out, rotate_bytes=rotate_bytes)
    state = _State()
    shown = _Shown(tuple(families), truck, knowledge or load_knowledge(), si, tuple(stops))

    def say() -> None:
        if tell is not None:
            tell(_progress(lines, file, state, shown))

    try:
        for line in lines:
            line.open(first=True)
        _loop(lines, file, state, (seconds, every_s), stop, say)
    except DiskFull as full:
        state.stopped = (
            f"The disk is full ({full}): {file.saved:,} frames are saved in whole lines, what came "
            "after them is not."
        )
    finally:
        end = _progress(lines, file, state, shown)
        for line in lines:
            line.close()
        file.remove()
    if not file.saved and not state.stopped:
        raise NothingUsable(
            "No frame came from the bus.",
            where=", ".join(names),
            do="Check the connector, the key and the bit rate (250,000 or 500,000).",
        )
    return end


@dataclass(slots=True)
class _State:
    interruptions: int = 0
    stopped: str = ""
    covered: dict[str, CardLine] = field(default_factory=dict)


class _Connection:
    """The bus; opened again when it went away."""

    def __init__(self, interface: str, channel: str, bitrate: int | None) -> None:
        self.interface, self.channel, self.bitrate = interface, channel, bitrate
        self.live = LiveValues()
        self.listens_only = False
        self.retried = 0.0
        # The last part of a port's path, in letters that every reader of such a log takes.
        name = re.sub(rb"[^A-Za-z0-9_.-]", b"_", re.split(r"[/\\]", channel)[-1].encode())[:15]
        self.name = name if name[:1].isalpha() else (b"can" + name)[:15]
        self._bus: Any = None
        self._shift: float | None = None

    def on_one_clock(self, stamp: float) -> float:
        """Return a stamp of the adapter's clock on this machine's clock.

        An adapter that stamps with the time of day keeps its stamps; another one's are moved by
        what its first frame shows.
        """
        if self._shift is None:
            apart = time.time() - stamp
            self._shift = apart if abs(apart) > _SAME_CLOCK_S else 0.0
        return stamp + self._shift

    def is_up(self) -> bool:
        return self._bus is not None

    def open(self, *, first: bool = False) -> bool:
        import can  # noqa: PLC0415  (slow to load)

        quiet = quiet_options(self.interface)
        extra: dict[str, Any] = {} if self.bitrate is None else {"bitrate": self.bitrate}
        extra |= quiet or {}
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
        self._shift = None
        self.listens_only = self._quiet() if quiet is None or "state" in quiet else True
        return True

    def _quiet(self) -> bool:
        """Ask an adapter that is open to listen only; where it cannot it acknowledges frames."""
        import can  # noqa: PLC0415

        try:
            self._bus.state = can.BusState.PASSIVE
            return bool(self._bus.state == can.BusState.PASSIVE)
        except (NotImplementedError, AttributeError, can.CanError, OSError, ValueError):
            return False

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


def _rate(interface: str, channel: str, asked: int | Literal["auto"] | None) -> int | None:
    return find_bitrate(interface, channel) if asked == "auto" else asked


def _name_apart(lines: Sequence[_Connection]) -> None:
    """Give adapters whose channels are called alike names of their own."""
    taken: set[bytes] = set()
    for number, line in enumerate(lines):
        if line.name in taken:
            line.name = line.name[:12] + b"_%d" % number
        taken.add(line.name)


def _loop(
    lines: Sequence[_Connection],
    file: LineFile,
    state: _State,
    limits: tuple[float | None, float],
    stop: Callable[[], bool],
    tell: Callable[[], None],
) -> None:
    seconds, every_s = limits
    begin = flushed = synced = told = time.monotonic()
    try:
        while not stop():
            now = time.monotonic()
            if seconds is not None and now - begin >= seconds:
                return
            if now - flushed >= FLUSH_S:
                file.flush(before=_settled(lines))
                flushed = now
            if now - synced >= SYNC_S:
                file.sync()
                synced = now
            if now - told >= every_s:
                tell()
                told = now
            heard = [_listened(line, file, state, len(lines), now) for line in lines]
            if not any(heard):
                time.sleep(0.002 if len(lines) > 1 else 0.05)
    except KeyboardInterrupt:
        return
    finally:
        file.flush(before=b"~" if len(lines) > 1 else None)
        file.sync()


def _settled(lines: Sequence[_Connection]) -> bytes | None:
    """Return the stamp up to which every bus has given what it had; ``None`` with one bus."""
    return None if len(lines) == 1 else b"(%017.6f" % (time.time() - _LATE_S)


def _listened(line: _Connection, file: LineFile, state: _State, buses: int, now: float) -> bool:
    """Take what came over one bus; say whether waiting is not needed."""
    if not line.is_up():
        if now - line.retried >= RETRY_S:
            line.retried = now
            line.open()
        return False
    message = line.receive(0.1 if buses == 1 else 0.0)
    count = 0
    while message is not None:
        _write(file, line, message)
        count += 1
        if buses == 1 or count >= _AT_ONCE:
            return True
        message = line.receive(0.0)
    if not line.is_up():
        state.interruptions += 1
        line.retried = time.monotonic()
    return bool(count) or buses == 1


def _write(file: LineFile, line: _Connection, message: Any) -> None:
    stamp = line.on_one_clock(message.timestamp)
    width = 8 if message.is_extended_id else 3
    data = bytes(message.data).hex().upper().encode()
    if message.is_error_frame:
        # The bit that marks an error frame in this kind of text.
        file.write(b"(%017.6f) %s 20000000#%s\n" % (stamp, line.name, data[:16]))
        return
    text = b"##0" + data if message.is_fd else b"#R" if message.is_remote_frame else b"#" + data
    file.write(b"(%017.6f) %s %0*X%s\n" % (stamp, line.name, width, message.arbitration_id, text))
    if not message.is_remote_frame:
        line.live.feed(stamp, message.arbitration_id, message.is_extended_id, bytes(message.data))


@dataclass(frozen=True, slots=True)
class _Shown:
    """What a person wants to see of the values."""

    families: tuple[str, ...]
    truck: TruckData | None
    knowledge: Knowledge
    si: bool
    stops: tuple[Step, ...] = ()


def _progress(
    lines: Sequence[_Connection], file: LineFile, state: _State, shown: _Shown
) -> RecordProgress:
    # What is shown is one bus's: the first that carries an engine.
    live = next((ln.live for ln in lines if "engine_speed" in ln.live.latest), lines[0].live)
    values, bands = {}, {}
    for name in live.latest:
        band = _band(name, live, shown)
        values[name] = _text(name, live, band, shown.si)
        if band is not None:
            bands[name] = f"{band.words} ({band.source.kind}: {band.source.words})"
    return RecordProgress(
        max(ln.live.last_s for ln in lines),
        sum(ln.live.frames for ln in lines),
        all(ln.is_up() for ln in lines),
        state.interruptions,
        values,
        _card(live, state, shown),
        bands,
        tuple(str(path) for path in file.files),
        state.stopped,
        {f"{ln.interface}:{ln.channel}": ln.listens_only for ln in lines},
    )


def _card(live: LiveValues, state: _State, shown: _Shown) -> tuple[CardLine, ...]:
    """Return the road-test card; what was driven days ago stays ticked off."""
    if not shown.families:
        return ()
    card = road_test_card(
        shown.families, [live.recording("live")], shown.truck, shown.stops,
        knowledge=shown.knowledge,
    )  # fmt: skip
    state.covered |= {line.point: line for line in card if line.covered}
    return tuple(state.covered.get(line.point, line) for line in card)


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
