"""The recordings of a case: found, checked against their digest, read."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from witnessmark.casebook.files import digest
from witnessmark.errors import WitnessmarkError
from witnessmark.model.case import Case
from witnessmark.model.entry import Entry
from witnessmark.model.entry_data import RecordingData
from witnessmark.model.problem import Problem
from witnessmark.model.recording import Recording
from witnessmark.readers import read_recording
from witnessmark.workflow.shop import Shop, find_file

__all__ = ["read_recordings", "recordings_beside", "recordings_of_shop"]

#: Where the file of a recording entry lies; raises a refusal when it is not there.
Locate = Callable[[Entry, RecordingData], Path | None]


def recordings_beside(case: Case, folder: Path) -> tuple[dict[str, Recording], list[Problem]]:
    """Read the live recordings of a case file whose files lie in *folder*."""
    return read_recordings(case, lambda _, data: find_file(data, folder))


def recordings_of_shop(shop: Shop, case: Case) -> tuple[dict[str, Recording], list[Problem]]:
    """Read the live recordings of a case from the shop's originals."""
    return read_recordings(case, lambda entry, _: shop.recording_path(case.id, entry))


def read_recordings(case: Case, locate: Locate) -> tuple[dict[str, Recording], list[Problem]]:
    """Read the live recordings of a case.

    Returns:
        Entry id -> recording, and problems: a file that is missing, changed or refused. The
        others are still read.
    """
    found: dict[str, Recording] = {}
    problems: list[Problem] = []
    for entry, data in case.of(RecordingData):
        try:
            path = locate(entry, data)
            if path is None:
                problems.append(Problem(entry.id, f"The recording '{data.path[:120]}' is not "
                                        "there.", "Put it beside the case file."))  # fmt: skip
                continue
            if data.sha256 is not None and digest(path) != data.sha256:
                problems.append(Problem(entry.id, f"'{data.path[:120]}' is not the file that was "
                                        "recorded: its sha256 differs; it is not used.",
                                        "Find the original."))  # fmt: skip
                continue
            found[entry.id] = read_recording(path)
        except WitnessmarkError as error:
            problems.append(Problem.of(error, where=f"{entry.id} ({data.path[:80]})"))
    return found, problems
