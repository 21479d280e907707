"""Which file a case file may name: the one place that decides it.

A case file comes from anywhere, and a name in it is a wish, not an order. It is followed only to
an ordinary file in the folder of the case file (or in a place that the person at the keyboard
allows): not out of it by an absolute path, ``..`` or a link, and never to a folder, device or pipe.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path, PureWindowsPath

from witnessmark.errors import InputRefused, NotFound, WitnessmarkError
from witnessmark.model.entries.entry_data import PhotoData, RecordingData
from witnessmark.model.problem import Problem

__all__ = ["Reach", "shown", "unreadable"]

#: Folder that the originals of an exported case may lie in, by their digest.
_ORIGINALS = "recordings"
#: Characters of a name that a sentence shows.
_SHOWN = 120


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the names in a case file reach.

    Attributes:
        folder: the folder of the case file.
        allow: files and folders elsewhere that the person allows besides.
    """

    folder: Path
    allow: tuple[Path, ...] = ()

    def file(self, name: str | Path) -> Path:
        """Return the file behind a name, with every link in it resolved.

        What lies outside is refused before the disk is asked about it, so the answer does not
        tell whether there is such a file, and no network share is called up.

        Raises:
            InputRefused: it lies outside, a link leads outside, it is a folder, a device or a
                pipe, or it is no name that a file can have.
            NotFound: there is no such file.
        """
        text = str(name)
        try:
            # Told by the letters first, then, when those stay inside, by where the links lead.
            if _leaves(text) or not self._holds(os.path.normpath(self._placed(text))):
                raise _outside(text)
            real = os.path.realpath(self._placed(text))
            if not self._holds(real):
                raise _outside(text)
            mode = Path(real).stat().st_mode  # of the resolved path: opening it follows no link
        except (UnicodeError, ValueError):
            raise InputRefused(
                f"'{shown(text)}' is no name that a file can have.",
                do="Correct the name, or add the file to the case later.",
            ) from None
        except OSError as error:
            raise _missing(text, error) from None
        if not stat.S_ISREG(mode):
            raise InputRefused(
                f"'{shown(text)}' is {_what(mode)}, not a file; it is not read.",
                do="Name the recording or photo itself.",
            )
        return Path(real)

    def find(self, data: RecordingData | PhotoData) -> Path:
        """Return the file of an entry: at its path, or by its digest in the folder.

        Raises:
            WitnessmarkError: as :meth:`file`, for the path that the entry names.
        """
        try:
            return self.file(data.path)
        except WitnessmarkError:
            for place in _by_digest(data.sha256):
                try:
                    return self.file(place)
                except WitnessmarkError:
                    continue
            raise

    def _placed(self, name: str) -> Path:
        return self.folder.absolute() / name

    def _holds(self, place: str) -> bool:
        return any(_within(place, root) for root in self._roots())

    def _roots(self) -> Iterable[str]:
        for root in (self.folder, *self.allow):
            yield os.path.normpath(root.absolute())
            yield os.path.realpath(root)


def shown(name: str) -> str:
    """Return a name from outside as a sentence may show it: nothing unseen, not too long."""
    seen = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in name[: _SHOWN + 1])
    return seen if len(seen) <= _SHOWN else f"{seen[:_SHOWN]}..."


def unreadable(where: str, name: str, error: OSError) -> Problem:
    """Return the problem of a file that was found but cannot be read."""
    return Problem.of(_missing(name, error), where=where)


def _leaves(name: str) -> bool:
    """Say whether a name leaves the folder as another system reads it: a file travels."""
    there = PureWindowsPath(name)
    return bool(there.drive) or ("\\" in name and (bool(there.root) or ".." in there.parts))


def _within(place: str, root: str) -> bool:
    try:
        return os.path.commonpath([place, root]) == root
    except ValueError:  # on another drive
        return False


def _by_digest(sha256: str | None) -> tuple[Path, ...]:
    return () if sha256 is None else (Path(sha256), Path(_ORIGINALS, sha256))


def _outside(name: str) -> InputRefused:
    return InputRefused(
        f"'{shown(name)}' leads out of the folder it is named in; it is not read.",
        do="Put the file into that folder, or name its place with --allow PATH if you know what "
        "is in it.",
    )


def _missing(name: str, error: OSError) -> WitnessmarkError:
    if isinstance(error, FileNotFoundError | NotADirectoryError):
        return NotFound(
            f"The file '{shown(name)}' is not there.",
            do="Put it beside the case file, or add it to the case later.",
        )
    return InputRefused(
        f"The file '{shown(name)}' cannot be read: {(error.strerror or str(error)).lower()}.",
        do="See that the file can be opened, or add it to the case later.",
    )


def _what(mode: int) -> str:
    if stat.S_ISDIR(mode):
        return "a folder"
    return "a pipe" if stat.S_ISFIFO(mode) or stat.S_ISSOCK(mode) else "a device"
