"""A shop on disk: the casebook, the originals beside it, and the verbs that write to them."""

from __future__ import annotations

import contextlib
import hashlib
import json
import shutil
import tomllib
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from witnessmark.casebook.engine import DEFAULT_SHOP, Database
from witnessmark.casebook.faults import disk_fault
from witnessmark.casebook.files import Originals, digest
from witnessmark.casebook.lockbox import Lockbox
from witnessmark.casebook.store import Casebook, Summary
from witnessmark.errors import Conflict, InputRefused, NotFound, WitnessmarkError
from witnessmark.late import late
from witnessmark.model.entries.case import Case
from witnessmark.model.entries.entry import Entry, parse_entry
from witnessmark.model.entries.entry_data import PhotoData, RecordingData
from witnessmark.model.problem import Problem
from witnessmark.workflow.case.case_file import lines_of
from witnessmark.workflow.case.named_files import Reach, shown, unreadable
from witnessmark.workflow.case.photo_data import without_private_data
from witnessmark.workflow.case.private_files import make_private

# The packs are loaded only where an id of theirs is entered.
if TYPE_CHECKING:
    from witnessmark.workflow.case import refuse_unknown as asking
else:
    asking = late("witnessmark.workflow.case.refuse_unknown")

__all__ = ["Shop", "entry_line", "new_entry_id", "open_shop"]

#: Kinds of entry that name what only the packs, or the models that they bind, know.
_OF_THE_PACKS = frozenset({"clue", "test", "reading"})


@dataclass(frozen=True, slots=True)
class Shop:
    """An open shop. Everything the doors do to a shop goes through here."""

    folder: Path
    casebook: Casebook
    originals: Originals
    name: str = DEFAULT_SHOP
    #: Whether what earlier versions kept elsewhere was moved into the lockbox.
    adopted: list[bool] = field(default_factory=list, compare=False)
    _lockbox: list[Lockbox] = field(default_factory=list, compare=False)

    @property
    def locks(self) -> Lockbox:
        """What the locks of the doors rest on; opened when first needed."""
        if not self._lockbox:
            url = self.casebook.database.url
            if self.casebook.database.is_file:
                url = f"sqlite:///{(self.folder / 'locks.sqlite').resolve()}"
            self._lockbox.append(Lockbox(Database(url, shop=self.name)))
        return self._lockbox[0]

    def close(self) -> None:
        """Let go of the casebook."""
        self.casebook.close()
        for box in self._lockbox:
            box.close()

    def pulse(self) -> str:
        """Return a short text that changes with whatever an answer about any case rests on.

        Every line of every case, the settings, the shop's packs and the names of columns count,
        by whichever door or process they were written; and the day, for the ages of what was
        learnt.
        """
        seen = hashlib.sha256(self.casebook.pulse().encode())
        seen.update(datetime.now(UTC).date().isoformat().encode())
        packs = self.folder / "packs"
        beside = (self.folder / "columns.json", self.folder / "experience" / "pool.json")
        for path in (*sorted(packs.glob("*.toml")), *beside):
            seen.update(path.name.encode())
            with contextlib.suppress(OSError):
                seen.update(path.read_bytes())
        return seen.hexdigest()[:16]

    @property
    def told_everywhere(self) -> str:
        """A sentence that stands on every page; empty for a shop as it is."""
        return ""

    def list_cases(self) -> list[Summary]:
        """Return every case, the one last written to first."""
        return self.casebook.cases()

    def case(self, case_id: str) -> Case:
        """Return a case.

        Raises:
            NotFound: no such case.
        """
        return self.casebook.case(case_id)

    def new_case(self, case_id: str, lines: Iterable[str] = (), *, by: str | None = None) -> Case:
        """Open a case with its first lines; see :meth:`Casebook.new_case`."""
        return self.casebook.new_case(case_id, lines, by=by)

    def append(self, case_id: str, lines: Iterable[str], *, by: str | None = None) -> list[str]:
        """Add lines to a case as they are; see :meth:`Casebook.append`."""
        return self.casebook.append(case_id, lines, by=by)

    def enter(self, case_id: str, lines: Iterable[str], *, by: str | None = None) -> list[str]:
        """Add lines that somebody enters now: a clue, test or result nobody knows is refused.

        Raises:
            EntryRefused: a line names what no pack knows, or is no entry; nothing was added.
            NotFound: no such case.
        """
        written = [line for line in lines if line.strip()]
        fresh = [parse_entry(line)[0] for line in written]
        held = {entry.id for entry in self.case(case_id).entries}
        self._refuse_unknown(case_id, [entry for entry in fresh if entry.id not in held])
        return self.append(case_id, written, by=by)

    def add(
        self,
        case_id: str,
        kind: str,
        data: Mapping[str, Any],
        *,
        by: str | None = None,
        entry_id: str | None = None,
        at: str | None = None,
    ) -> Entry:
        """Make one entry and add it.

        Args:
            case_id: the case.
            kind: kind of entry.
            data: its data as JSON types.
            by: who enters it.
            entry_id: an id made by the sender lets a save be sent twice safely.
            at: when it was done; now when not given.

        Raises:
            EntryRefused: the data do not fit the entry format, or name a clue, test or result
                that no pack knows.
            NotFound: no such case.
        """
        line = entry_line(kind, data, entry_id=entry_id, at=at, by=by)
        entry, _ = parse_entry(line)
        before = self._sent_before(case_id, entry)
        if before is not None:
            return before
        self._refuse_unknown(case_id, [entry])
        try:
            self.append(case_id, [line], by=by)
        except Conflict:
            before = self._sent_before(case_id, entry)  # twice in the same moment
            if before is None:
                raise
            return before
        return entry

    def _sent_before(self, case_id: str, entry: Entry) -> Entry | None:
        held = self.casebook.line_of(case_id, entry.id)
        if held is None:
            return None
        stored, _ = parse_entry(held)
        return stored if (stored.kind, stored.data) == (entry.kind, entry.data) else None

    def _refuse_unknown(self, case_id: str, entries: Sequence[Entry]) -> None:
        if any(entry.kind in _OF_THE_PACKS for entry in entries):
            asking.refuse_unknown(self.folder, self.case(case_id), entries)

    def store_file(self, source: BinaryIO | Path, name: str, *, expected: str = "") -> str:
        """Store an original (recording or photo) and return its sha256.

        Raises:
            Conflict: the bytes do not have the digest that is *expected*.
        """
        sha256, size = self.originals.store(source, expected=expected)
        self.casebook.note_file(sha256, name[:300], size)
        return sha256

    def recording_path(self, case_id: str, entry: Entry) -> Path:
        """Return where the original of a recording or photo entry lies.

        Raises:
            NotFound: it was never added to the shop.
        """
        sha256 = getattr(entry.data, "sha256", None) or self.casebook.attachments(case_id).get(
            entry.id
        )
        if sha256 is None:
            raise NotFound(f"The file of entry '{entry.id}' is not in the shop.", do="Add it.")
        return self.originals.path(sha256)

    def export(self, case_id: str) -> str:
        """Return the case as JSON Lines, byte for byte as its lines came in."""
        return "".join(f"{line}\n" for line in self.casebook.lines(case_id))

    def export_files(
        self, case_id: str, folder: Path, *, originals: bool = False
    ) -> tuple[list[str], list[Problem]]:
        """Copy the case's recordings and photos into *folder*, named by digest.

        Photos are copied without place and device data and are then other files, so their names
        say so; with *originals* they are copied as they came in.

        Their names in the entries come from outside and are never used as paths.

        Returns:
            Names of the copies, and a problem for each file that was never added to the shop.
        """
        folder.mkdir(parents=True, exist_ok=True)
        copied, problems = [], []
        for entry in self.case(case_id).entries:
            if isinstance(entry.data, (RecordingData, PhotoData)):
                try:
                    source = self.recording_path(case_id, entry)
                except NotFound as error:
                    problems.append(Problem.of(error, where=entry.id))
                    continue
                if originals or not isinstance(entry.data, PhotoData):
                    shutil.copyfile(source, folder / source.name)
                    copied.append(source.name)
                    continue
                try:
                    content = without_private_data(source.read_bytes())
                except InputRefused as error:
                    problems.append(Problem.of(error, where=entry.id))
                    continue
                (folder / f"{source.name}-without-data").write_bytes(content)
                copied.append(f"{source.name}-without-data")
        return copied, problems

    def import_case(
        self,
        path: Path,
        case_id: str | None = None,
        *,
        by: str | None = None,
        allow: Sequence[Path] = (),
    ) -> Case:
        """Take a case file in, with the recordings and photos that lie where it says.

        Args:
            path: the case file; what it names is looked for in its folder only.
            case_id: name of the case; the file's name when not given.
            by: who takes it in.
            allow: files and folders elsewhere that it may name, too.

        Returns:
            The case; what could not be found or read stands in its problems.
        """
        lines, remarks = lines_of(path)
        name = case_id or path.name.removesuffix(".jsonl")
        case = self.new_case(name, lines, by=by)
        problems = list(case.problems) + remarks
        reach = Reach(path.parent, tuple(allow))
        for entry in case.entries:
            if isinstance(entry.data, (RecordingData, PhotoData)):
                problem = self._take_in(case.id, entry, reach)
                problems += [problem] if problem else []
        return Case(case.id, case.entries, tuple(problems), case.damaged)

    def _take_in(self, case_id: str, entry: Entry, reach: Reach) -> Problem | None:
        data = entry.data
        assert isinstance(data, (RecordingData, PhotoData))  # noqa: S101
        if data.sha256 is not None and data.sha256 in self.originals:
            return None
        try:
            source = reach.find(data)
            if data.sha256 is not None and digest(source) != data.sha256:
                return Problem(
                    entry.id,
                    f"The file '{shown(data.path)}' is not the one that was "
                    "recorded: its sha256 differs.",
                    "Find the original.",
                )
            sha256 = self.store_file(source, Path(data.path).name)
        except WitnessmarkError as error:
            return Problem.of(error, where=entry.id)
        except OSError as error:
            return unreadable(entry.id, data.path, error)
        self.casebook.attach(case_id, entry.id, sha256)
        return None


def open_shop(folder: Path | str, *, create: bool = False, database: str | None = None) -> Shop:
    """Open a shop's folder.

    ``shop.toml`` in it may hold ``casebook = "postgresql+psycopg://..."`` for several sites that
    share one database, ``shop = "yard-2"`` for the name of this one in it, and ``originals =
    "s3://..."`` for recordings and photos that lie elsewhere; without it everything is in the
    folder. *database* counts before what stands there.

    Raises:
        NotFound: no such shop, and *create* is not set.
        InputRefused: the folder's settings or casebook cannot be read.
    """
    folder = Path(folder)
    if not create and database is None and not _is_shop(folder):
        raise NotFound(
            "There is no shop in this folder.",
            where=str(folder),
            do="Make one with 'witnessmark case new SHOP CASE-ID'.",
        )
    if folder.exists() and not folder.is_dir():
        raise InputRefused("A shop is a folder; this is a file.", where=str(folder))
    try:
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    except OSError as error:
        raise disk_fault(error, str(folder)) from error
    said = _shop_file(folder)
    url = database or _said(said, "casebook", folder)
    name = _said(said, "shop", folder) or DEFAULT_SHOP
    own = (folder / "casebook.sqlite").resolve()
    casebook = Casebook(url or f"sqlite:///{own}", shop=name)
    if not casebook.read_only:
        make_private(folder)
    store = _said(said, "originals", folder)
    return Shop(folder, casebook, _originals(folder / "recordings", store), name)


def _originals(folder: Path, store: str) -> Originals:
    if not store:
        return Originals(folder)
    from witnessmark.casebook.files_elsewhere import OriginalsElsewhere  # noqa: PLC0415

    return OriginalsElsewhere(folder, store)


def entry_line(
    kind: str,
    data: Mapping[str, Any],
    *,
    entry_id: str | None = None,
    at: str | None = None,
    by: str | None = None,
) -> str:
    """Return one line of the entry format.

    A test says in its line who made it, for the same by another hand tells more; of everything else
    only the casebook knows who entered it.
    """
    document = {
        "kind": kind,
        "id": entry_id or new_entry_id(),
        "at": at or _now(),
        **({"by": by} if by and kind == "test" else {}),
        "data": dict(data),
    }
    return json.dumps(document, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def new_entry_id() -> str:
    """Return an id that no other entry has."""
    return "e" + uuid.uuid4().hex[:12]


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def _is_shop(folder: Path) -> bool:
    return (folder / "casebook.sqlite").is_file() or (folder / "shop.toml").is_file()


def _shop_file(folder: Path) -> dict[str, Any]:
    path = folder / "shop.toml"
    if not path.is_file():
        return {}
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputRefused(f"The settings cannot be read: {error}.", where=str(path)) from None


def _said(said: dict[str, Any], key: str, folder: Path) -> str:
    found = said.get(key, "")
    if not isinstance(found, str):
        raise InputRefused(f"{key}: a text is needed.", where=str(folder / "shop.toml"))
    return found
