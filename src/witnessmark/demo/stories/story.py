"""An invented case as it lies in its file: entries in order, and the files that they name.

The first line of a file says what the story is; every further line is an entry as a case file
holds it. A recording or photo is named by its entry and made here, so its digest is filled
in when the file is read.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files as package_files

from witnessmark.demo.machines.drawn_photos import drawn_photo
from witnessmark.demo.machines.named_recordings import recording

__all__ = ["Story", "read_story"]


@dataclass(frozen=True, slots=True)
class Story:
    """One invented case.

    Attributes:
        case_id: the case's name.
        title: who, what truck, what complaint.
        tempting: the wrong answer that the first look suggests.
        truth: what the inventor put into the truck, first cause first.
        lines: its entries as lines of JSON.
        files: name of a recording or photo -> its bytes.
    """

    case_id: str
    title: str
    tempting: str
    truth: tuple[str, ...]
    lines: tuple[str, ...]
    files: Mapping[str, bytes]


def read_story(case_id: str) -> Story:
    """Read the story of a case from its file and have its recordings made.

    Raises:
        FileNotFoundError: there is no story of that name.
        KeyError: an entry names a recording or photo that nothing makes.
    """
    text = (package_files(__package__) / f"{case_id}.jsonl").read_text(encoding="utf-8")
    first, *entries = text.splitlines()
    head = json.loads(first)
    made: dict[str, bytes] = {}
    lines = tuple(_with_digest(line, made) for line in entries)
    return Story(head["story"], head["title"], head["tempting"], tuple(head["truth"]), lines, made)


def _with_digest(line: str, made: dict[str, bytes]) -> str:
    """Return the entry; what it names is made into *made*, and its digest written beside it."""
    entry = json.loads(line)
    if entry["kind"] not in {"recording", "photo"}:
        return line
    name = entry["data"].pop("path")
    made[name] = recording(name) if entry["kind"] == "recording" else drawn_photo(name)
    digest = hashlib.sha256(made[name]).hexdigest()
    entry["data"] = {"path": name, "sha256": digest, **entry["data"]}
    return json.dumps(entry, ensure_ascii=False)
