"""The recordings of a case: found, checked against their digest, read."""

from __future__ import annotations

import contextlib
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

from witnessmark.errors import NotFound, WitnessmarkError
from witnessmark.late import late
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import RecordingData
from witnessmark.model.problem import Problem
from witnessmark.model.recording import Recording
from witnessmark.readers.columns.remembered import recall
from witnessmark.readers.files.kept_channels import load, store
from witnessmark.readers.files.same_drive import relation
from witnessmark.readers.told import ReaderSettings
from witnessmark.workflow.case.named_files import Reach, shown, unreadable

if TYPE_CHECKING:
    from witnessmark.casebook import files
    from witnessmark.workflow.case.shop_on_disk import Shop
else:
    files = late("witnessmark.casebook.files")

__all__ = [
    "read_kept",
    "read_recordings",
    "recordings_beside",
    "recordings_of_shop",
    "recordings_seen",
]

#: What columns of tables were named, beside a case file or in the shop's folder.
COLUMNS_FILE = "columns.json"
#: Fact of a kept recording: by which names of columns it was decoded.
_NAMED = "columns_named"
#: Where the file of a recording entry lies; raises a refusal when it is not there.
Locate = Callable[[Entry, RecordingData], Path]


def recordings_beside(
    case: Case, folder: Path, *, allow: Sequence[Path] = ()
) -> tuple[dict[str, Recording], list[Problem]]:
    """Read the live recordings of a case file whose files lie in *folder*, or where *allow* says.

    No name in the case file and no link in the folder is followed anywhere else.
    """
    reach = Reach(folder, tuple(allow))
    columns, problems = None, []
    try:
        columns = reach.file(COLUMNS_FILE)
    except NotFound:
        pass
    except WitnessmarkError as error:
        problems.append(Problem.of(error, where=COLUMNS_FILE))
    found, more = read_recordings(case, lambda _, data: reach.find(data), columns=columns)
    return found, [*problems, *more]


def recordings_of_shop(shop: Shop, case: Case) -> tuple[dict[str, Recording], list[Problem]]:
    """Read the live recordings of a case from the shop's originals."""
    return read_recordings(
        case,
        lambda entry, _: shop.recording_path(case.id, entry),
        shop.folder / "channels",
        columns=shop.folder / COLUMNS_FILE,
    )


def recordings_seen(shop: Shop, case: Case) -> tuple[tuple[str, str], ...]:
    """Return (entry, what its file is now): what tells whether anything read would be different.

    Nothing is decoded. The names that columns of tables were given count for all of them.
    """
    seen = []
    for entry, _ in case.of(RecordingData):
        try:
            seen.append((entry.id, files.digest(shop.recording_path(case.id, entry))))
        except (WitnessmarkError, OSError) as error:
            seen.append((entry.id, str(error)))
    book = shop.folder / COLUMNS_FILE
    if seen and book.is_file():
        seen.append((COLUMNS_FILE, files.digest(book)))
    return tuple(seen)


def read_recordings(
    case: Case, locate: Locate, cache: Path | None = None, *, columns: Path | None = None
) -> tuple[dict[str, Recording], list[Problem]]:
    """Read the live recordings of a case; the same drive given twice counts once.

    Args:
        case: the case.
        locate: finds the file of an entry.
        cache: folder of decoded channels, which can be made anew at any time.
        columns: file of the names that columns of tables were given once.

    Returns:
        Entry id -> recording, and problems: a file that is missing, changed or refused. The
        others are still read.
    """
    found: dict[str, Recording] = {}
    problems: list[Problem] = []
    settings = ReaderSettings()
    try:
        settings = ReaderSettings(columns=recall(columns) if columns is not None else {})
    except WitnessmarkError as error:
        problems.append(Problem.of(error, where=str(columns)))
    for entry, data in case.of(RecordingData):
        try:
            path = locate(entry, data)
        except WitnessmarkError as error:
            problems.append(Problem.of(error, where=entry.id))
            continue
        try:
            if data.sha256 is not None and files.digest(path) != data.sha256:
                problems.append(Problem(entry.id, f"'{shown(data.path)}' is not the file that was "
                                        "recorded: its sha256 differs; it is not used.",
                                        "Find the original."))  # fmt: skip
                continue
            whole = read_kept(path, cache, settings)
            one = _of_the_truck(whole, data.bus)
            if one is None:
                problems.append(_which_engine(entry.id, whole, data.bus))
                continue
            found[entry.id] = one
        except WitnessmarkError as error:
            problems.append(Problem.of(error, where=f"{entry.id} ({shown(data.path)[:80]})"))
        except OSError as error:
            problems.append(unreadable(entry.id, data.path, error))
    problems += _drop_repeats(found, case.stages())
    return found, problems


def read_kept(path: Path, cache: Path | None, settings: ReaderSettings) -> Recording:
    """Read a file, from the channels kept in *cache* where they were decoded the same way."""
    sha256 = files.digest(path)
    told = replace(settings, sha256=sha256)
    if cache is None:
        return read_recording(path, settings=told)
    held = load(cache, sha256)
    if held is None or held.facts.get(_NAMED, "") != _named(held, settings):
        held = read_recording(path, settings=told)
        if named := _named(held, settings):
            held = replace(held, facts={**held.facts, _NAMED: named})
        with contextlib.suppress(OSError):  # a full disk must not stop the work
            store(held, cache)
    return held


def _of_the_truck(whole: Recording, bus: str | None) -> Recording | None:
    """Return what is the truck's; ``None`` where several engines were recorded and none is named.

    A finding on the wrong engine is worse than none.
    """
    if bus is not None:
        return whole.of_bus(bus) if bus in whole.buses else None
    return None if whole.apart else whole


def _which_engine(entry: str, whole: Recording, bus: str | None) -> Problem:
    names = " and ".join(n for n in whole.buses if n in {whole.buses[0], *whole.apart})
    if bus is not None and not whole.buses:
        return Problem(entry, f"The recording holds one bus only, and '{bus}' is named.",
                       "Leave 'bus' out.")  # fmt: skip
    if bus is not None:
        return Problem(entry, f"The recording has no bus '{bus}'; it holds "
                       f"{' and '.join(whole.buses)}.", "Name one of these.")  # fmt: skip
    return Problem(
        entry,
        f"Buses {names} of the recording each carry an engine, and nothing shows that it is the "
        "same one: no finding rests on it.",
        f"Say which is the truck's: add the recording again with bus={whole.buses[0]}.",
    )


def read_recording(path: Path, *, settings: ReaderSettings) -> Recording:
    """Read a file of any known format; the readers load when the first file is read."""
    from witnessmark.readers.any_file import read_recording as read  # noqa: PLC0415  (heavy)

    return read(path, settings=settings)


def _named(recording: Recording, settings: ReaderSettings) -> str:
    """Return what tells whether a table's columns have been named otherwise since."""
    names = settings.columns.get(str(recording.facts.get("header_key")))
    if not names:
        return ""
    return hashlib.sha256(json.dumps(sorted(names.items())).encode()).hexdigest()[:16]


def _drop_repeats(found: dict[str, Recording], stages: Mapping[str, int]) -> list[Problem]:
    """Leave out a recording that is another one, or the beginning of another one."""
    problems = []
    for first, second in combinations(list(found), 2):
        if first not in found or second not in found:
            continue
        if stages.get(first) != stages.get(second):
            continue
        how = relation(found[first], found[second])
        if how == "different":
            continue
        less, more = (first, second) if how == "longer" else (second, first)
        words = "the same recording as" if how == "same" else "the beginning of"
        problems.append(
            Problem(less, f"It is {words} '{more}'; it is counted once.", "Retract one of them.")
        )
        del found[less]
    return problems
