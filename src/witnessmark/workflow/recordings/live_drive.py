"""A drive that is recorded and watched at once: big figures, what to drive next, and stop words."""

from __future__ import annotations

import re
import threading
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from witnessmark.errors import Conflict, InputRefused, WitnessmarkError
from witnessmark.knowledge import Knowledge
from witnessmark.knowledge.rules import Asked, Stop
from witnessmark.units import QUANTITIES, parse_quantity, spoken
from witnessmark.words.say import driven
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.recordings.drive_card import CardDrive
from witnessmark.workflow.recordings.record_bus import RecordProgress, parse_bus, record

__all__ = ["LiveDrive"]

#: What the page shows large, the first of them first.
_BIG = (
    "engine_speed", "oil_pressure", "coolant_temperature", "fuel_delivery_pressure",
    "boost_pressure", "exhaust_temperature", "engine_load", "road_speed", "battery_voltage",
)  # fmt: skip
_MOST = 6
_TELL_S = 0.5
#: What the page may open: a name, an address of a group, a device. Some drivers would take a web
#: address or the name of a file to write for one.
_CHANNEL = re.compile(r"(?:/dev/)?[A-Za-z0-9][A-Za-z0-9._:@-]{0,79}")
#: Looks in a row that must say the same before a stop word is spoken: one frame may lie.
_SURE = 2


@dataclass(slots=True)
class LiveDrive:
    """One drive at a time of one served shop.

    Attributes:
        case: the case that is driven; empty before the first.
    """

    case: str = ""
    _progress: RecordProgress | None = None
    _over: tuple[str, int] = ("", 0)
    _knowledge: Knowledge | None = None
    _trouble: str = ""
    _entry: str = ""
    _thread: threading.Thread | None = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def running(self) -> bool:
        """Say whether a drive is being recorded."""
        return self._thread is not None and self._thread.is_alive()

    def start(
        self,
        shop: Shop,
        case_id: str,
        bus: str,
        drive: CardDrive,
        *,
        bitrate: int | Literal["auto"] | None = None,
        si: bool = False,
        by: str | None = None,
    ) -> None:
        """Begin to record; at the end the file becomes a recording of the case.

        Raises:
            Conflict: a drive is being recorded.
            InputRefused: *bus* names none, or something else than an adapter of this machine.
        """
        _, channel = parse_bus(bus)
        if _CHANNEL.fullmatch(channel) is None:
            raise InputRefused(
                f"'{channel[:60]}' is no adapter of this machine.",
                where="bus",
                do="Name it like can0, PCAN_USBBUS1 or /dev/ttyACM0; anything else is opened by "
                "'witnessmark record' at the machine itself.",
            )
        with self._lock:
            if self.running():
                raise Conflict(
                    "A drive is being recorded already.", where=self.case, do="Stop it first."
                )
            self.case, self._progress, self._over = case_id, None, ("", 0)
            self._knowledge = drive.knowledge
            self._trouble = self._entry = ""
            self._stop = threading.Event()
            self._thread = threading.Thread(
                target=self._run, args=(shop, bus, drive, bitrate, si, by), daemon=True
            )
            self._thread.start()

    def stop(self, wait_s: float = 10.0) -> None:
        """End the drive and wait until its file is in the case."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(wait_s)

    def look(self) -> dict[str, Any]:
        """Return what the page shows now, as JSON types."""
        now = self._progress
        found: dict[str, Any] = {
            "running": self.running(), "trouble": self._trouble, "entry": self._entry,
            "big": [], "points": [], "next": "", "stop": "", "say": "", "seconds": 0, "note": "",
        }  # fmt: skip
        if now is None:
            return found
        open_points = [line for line in now.card if line.due]
        found["seconds"] = round(now.seconds)
        found["big"] = [_figure(name, now) for name in _shown(now)]
        found["points"] = [
            {"words": line.words, "done": line.covered, "barred": bool(line.forbidden)}
            for line in now.card
        ]
        if not now.connected:
            found["note"] = driven.bus_gone()
        elif unknown := self._unlimited(now):
            found["note"] = driven.no_limit(" and ".join(unknown))
        if now.card:
            left = driven.all_driven() if all(p.covered for p in now.card) else driven.rest_barred()
            found["next"] = driven.drive_next(open_points[0].words) if open_points else left
        if self._over[1] >= _SURE:
            found["stop"] = self._over[0]
        found["say"] = found["stop"] or found["next"]
        return found

    def _heard(self, now: RecordProgress) -> None:
        words = next((_stop_words(now, stop, asked) for stop, asked in self._limits(now)
                      if _is_past(now, asked)), "")  # fmt: skip
        self._over = (words, self._over[1] + 1) if words else ("", 0)
        self._progress = now

    def _limits(self, now: RecordProgress) -> list[tuple[Stop, Asked]]:
        """Return the stops of the packs that a reading of now can call, at its engine speed."""
        known = self._knowledge
        if known is None:
            return []
        every = (*known.stops, *(s for f in known.families.values() for s in f.stops))
        rpm = _house(now, "engine_speed")
        return [
            (stop, asked)
            for stop in every
            for asked in stop.when
            if asked.kind == "reading" and asked.ids and asked.ids[0] in _WATCHED
            and (asked.rpm is None or (rpm is not None and asked.rpm[0] <= rpm <= asked.rpm[1]))
        ]  # fmt: skip

    def _unlimited(self, now: RecordProgress) -> list[str]:
        watched = {asked.ids[0] for _, asked in self._limits(now)}
        return [_name(n) for n in _WATCHED if n not in watched or _house(now, n) is None]

    def _run(
        self,
        shop: Shop,
        bus: str,
        drive: CardDrive,
        bitrate: int | Literal["auto"] | None,
        si: bool,
        by: str | None,
    ) -> None:
        folder = shop.folder / "uploads"
        folder.mkdir(mode=0o700, exist_ok=True)
        name = f"drive-{datetime.now().strftime('%Y%m%d-%H%M%S')}.log"
        path = folder / name
        try:
            end = record(
                bus, path, bitrate=bitrate, families=drive.families, truck=drive.truck,
                stops=drive.stops, knowledge=drive.knowledge, si=si, every_s=_TELL_S,
                tell=self._heard, stop=self._stop.is_set,
            )  # fmt: skip
            self._progress, self._trouble = end, end.stopped
            sha256 = shop.store_file(path, name)
            data = {"path": name, "sha256": sha256, "holds": "bus"}
            self._entry = shop.add(self.case, "recording", data, by=by).id
            path.unlink()
        except WitnessmarkError as error:
            self._trouble = f"{error.what} {error.do}".strip()


_WATCHED = ("oil_pressure", "coolant_temperature")


def _shown(now: RecordProgress) -> list[str]:
    outside = [n for n in now.values if _word(now, n) in {"below", "above"}]
    ranked = [*_BIG[:3], *outside, *_BIG[3:], *now.bands]  # the first three never move
    return [n for n in dict.fromkeys(ranked) if n in now.values][:_MOST]


def _figure(name: str, now: RecordProgress) -> dict[str, str]:
    band = now.values[name].partition(", ")[2]
    value = _value(now, name)
    figure, _, unit = value.partition(" ")
    number = figure.replace(".", "").replace("-", "").isdigit()
    return {
        "name": _name(name), "figure": figure if number else "no figure",
        "unit": unit if number else value, "band": band, "word": _word(now, name),
    }  # fmt: skip


def _name(quantity: str) -> str:
    return QUANTITIES[quantity].words if quantity in QUANTITIES else spoken(quantity)


def _house(now: RecordProgress, name: str) -> float | None:
    try:
        return parse_quantity(name, now.values[name].partition(",")[0])
    except (KeyError, WitnessmarkError):
        return None


def _is_past(now: RecordProgress, asked: Asked) -> bool:
    value = _house(now, asked.ids[0])
    if value is None:
        return False
    low, high = asked.below, asked.above
    return (low is not None and value < low) or (high is not None and value > high)


def _stop_words(now: RecordProgress, stop: Stop, asked: Asked) -> str:
    name = _name(asked.ids[0])
    return driven.stop_now(stop.say, name[:1].upper() + name[1:], _value(now, asked.ids[0]))


def _value(now: RecordProgress, name: str) -> str:
    """Return a value as it is glanced at and spoken: three digits, or the engine speed whole."""
    value = now.values[name].partition(",")[0]
    figure, _, unit = value.partition(" ")
    try:
        number = float(figure)
    except ValueError:
        return value
    return f"{number:.0f} {unit}" if abs(number) >= 100 else f"{number:.3g} {unit}"


def _word(now: RecordProgress, name: str) -> str:
    """Return where a value is in its band: below, above or in; empty where no band is known."""
    return now.values.get(name, "").partition(", ")[2].partition(" ")[0]
