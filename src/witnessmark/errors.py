"""Refusals: one family of exceptions, and one table that says what a door answers.

Two kinds of trouble are kept apart. A fault in the user's material is a record
(:class:`witnessmark.model.problem.Problem`), collected while the good rest goes on.
A refused action is an exception of the family below. Every refusal carries one clear
sentence (*what*), the place (*where*) and a way out (*do*).
"""

from __future__ import annotations

__all__ = [
    "ANSWERS",
    "Conflict",
    "EntryRefused",
    "Forbidden",
    "InputRefused",
    "NotFound",
    "NothingUsable",
    "PackRefused",
    "RecordingRefused",
    "StorageBusy",
    "StorageDamaged",
    "StorageFault",
    "StorageFull",
    "StorageReadOnly",
    "TooLarge",
    "UnitRefused",
    "WitnessmarkError",
    "exit_code",
    "http_status",
]


class WitnessmarkError(Exception):
    """Base of every refusal.

    Args:
        what: one plain sentence that says what is wrong.
        where: the file, line, entry or field it concerns; empty when there is none.
        do: what the user can do about it; empty when there is nothing to do.
    """

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.do = do

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.what}" if self.where else self.what]
        if self.do:
            parts.append(self.do)
        return " ".join(parts)


class InputRefused(WitnessmarkError):
    """What was given cannot be used as it stands."""


class UnitRefused(InputRefused):
    """A typed value without a unit, with the wrong kind of unit, or with two meanings."""


class EntryRefused(InputRefused):
    """An entry that does not fit the published entry format."""


class PackRefused(InputRefused):
    """A knowledge pack with faults; *what* lists all of them."""


class RecordingRefused(InputRefused):
    """A recording that is damaged beyond use, absurdly large, or of no known format."""


class NothingUsable(WitnessmarkError):
    """The material was readable but holds nothing that this job can use."""


class NotFound(WitnessmarkError):
    """A case, entry, recording or page that is not there."""


class Conflict(WitnessmarkError):
    """The change was made against an older state than the one that is stored."""


class TooLarge(WitnessmarkError):
    """More bytes than the door lets in."""


class Forbidden(WitnessmarkError):
    """The person signed in may not do this."""


class StorageFault(WitnessmarkError):
    """The disk or the database did not do what was asked; what was being saved is not stored."""


class StorageBusy(StorageFault):
    """Somebody else holds the casebook; a moment later it works."""


class StorageFull(StorageFault):
    """There is no room left."""


class StorageReadOnly(StorageFault):
    """The place cannot be written; what lies there can still be read."""


class StorageDamaged(StorageFault):
    """What is stored cannot be read any more."""


#: What each kind of refusal answers at the doors: (HTTP status, exit code).
ANSWERS: dict[type[WitnessmarkError], tuple[int, int]] = {
    WitnessmarkError: (400, 2),
    InputRefused: (422, 2),
    UnitRefused: (422, 2),
    EntryRefused: (422, 2),
    PackRefused: (422, 2),
    RecordingRefused: (422, 2),
    NothingUsable: (422, 3),
    NotFound: (404, 2),
    Conflict: (409, 2),
    TooLarge: (413, 2),
    Forbidden: (403, 2),
    StorageFault: (503, 4),
    StorageBusy: (503, 4),
    StorageFull: (507, 4),
    StorageReadOnly: (503, 4),
    StorageDamaged: (500, 4),
}


def http_status(error: WitnessmarkError) -> int:
    """Return the HTTP status that *error* answers with."""
    return _answer(error)[0]


def exit_code(error: WitnessmarkError) -> int:
    """Return the exit code that *error* ends a command with."""
    return _answer(error)[1]


def _answer(error: WitnessmarkError) -> tuple[int, int]:
    for kind in type(error).__mro__:
        if kind in ANSWERS:
            return ANSWERS[kind]
    raise AssertionError("the base class is in the table")
