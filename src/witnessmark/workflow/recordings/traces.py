"""Recordings of a case for looking at: decoded once, kept while they are looked at."""

from __future__ import annotations

import dataclasses
import json
import threading
from collections import OrderedDict
from pathlib import PurePosixPath

from witnessmark.analyses.steady import steady_points
from witnessmark.errors import NotFound
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import RecordingData
from witnessmark.model.recording import Recording, Steady
from witnessmark.readers import ReaderSettings
from witnessmark.readers.columns.remembered import recall
from witnessmark.workflow.case.shop_on_disk import Shop
from witnessmark.workflow.recordings.case_recordings import COLUMNS_FILE, read_kept

__all__ = ["recording_entry", "recording_of", "steady_of", "usual_channels"]

_KEEP = 4
_HELD: OrderedDict[str, Recording] = OrderedDict()
_LOCK = threading.Lock()

#: What is looked at first, where the recording holds it.
_USUAL = (
    "engine_speed",
    "engine_load",
    "fuel_delivery_pressure",
    "coolant_temperature",
    "oil_pressure",
    "boost_pressure",
    "road_speed",
    "vibration",
)


def recording_entry(shop: Shop, case_id: str, entry_id: str) -> Entry:
    """Return the entry of a recording.

    Raises:
        NotFound: the case has no such recording.
    """
    entry = next((e for e in shop.case(case_id).entries if e.id == entry_id), None)
    if entry is None or not isinstance(entry.data, RecordingData):
        raise NotFound("There is no such recording in the case.")
    return entry


def recording_of(shop: Shop, case_id: str, entry_id: str) -> Recording:
    """Return a recording, decoded.

    Raises:
        NotFound: no such recording, or its file is not in the shop.
        RecordingRefused: it cannot be read.
    """
    entry = recording_entry(shop, case_id, entry_id)
    path = shop.recording_path(case_id, entry)
    columns = recall(shop.folder / COLUMNS_FILE)
    key = f"{path.name}.{json.dumps(columns, sort_keys=True)}"
    with _LOCK:
        held = _HELD.get(key)
        if held is not None:
            _HELD.move_to_end(key)
    if held is None:
        held = read_kept(path, shop.folder / "channels", ReaderSettings(columns=columns))
        with _LOCK:
            _HELD[key] = held
            while len(_HELD) > _KEEP:
                _HELD.popitem(last=False)
    assert isinstance(entry.data, RecordingData)  # noqa: S101
    return dataclasses.replace(held, name=PurePosixPath(entry.data.path).name)


def steady_of(recording: Recording) -> tuple[Steady, ...]:
    """Return the steady operating points of a recording."""
    return tuple(steady_points(recording))


def usual_channels(recording: Recording, most: int = 4) -> list[int]:
    """Return the channels that are looked at first: positions in ``recording.channels``."""
    rows = [i for i, c in enumerate(recording.channels) if bool(c.valid().any())]

    def rank(i: int) -> tuple[int, int, int]:
        channel = recording.channels[i]
        bus = recording.buses.index(channel.bus) if channel.bus in recording.buses else 0
        place = _USUAL.index(channel.name) if channel.name in _USUAL else len(_USUAL)
        return place, bus, 0 if channel.source in {0, None} else 1

    picked: list[int] = []
    for i in sorted(rows, key=rank):
        if recording.channels[i].name not in {recording.channels[p].name for p in picked}:
            picked.append(i)
    return picked[:most]
