"""Uploads that survive a dropped link and a restart: pieces on disk until the whole is checked."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from witnessmark.casebook.faults import disk_fault
from witnessmark.errors import Conflict, InputRefused, NotFound, TooLarge
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["PIECE", "Upload", "begin", "cancel", "finish", "state", "sweep", "take_piece"]

#: Largest piece taken at once [bytes].
PIECE = 4 << 20
#: Largest file taken [bytes].
LARGEST = 2 << 30
#: Uploads on their way of one person.
_OPEN = 8
#: Room that is left on the disk for the casebook [bytes].
_SPARE = 64 << 20
_YOUNG_S = 3600
_KEEP_S = 7 * 24 * 3600
_ID = re.compile(r"[0-9a-f]{32}")


@dataclass(frozen=True, slots=True)
class Upload:
    """An upload on its way.

    Attributes:
        id: its key; random, never taken from a file name.
        name: the file's own name, for people only.
        size: bytes in all.
        received: bytes that are safely here.
        case: case it belongs to.
        by: who sends it, empty where nobody signs in.
    """

    id: str
    name: str
    size: int
    received: int
    case: str
    by: str = ""


def begin(shop: Shop, case: str, name: str, size: int, *, by: str = "") -> Upload:
    """Start an upload of *size* bytes.

    Raises:
        NotFound: no such case.
        TooLarge: more bytes than are taken.
        InputRefused: an empty file, or too many uploads on their way.
    """
    shop.casebook.count(case)
    if size <= 0:
        raise InputRefused("The file is empty.", do="Choose the recording again.")
    if size > LARGEST:
        raise TooLarge(
            f"The file has {size >> 20} MiB; at most {LARGEST >> 20} MiB are taken.",
            do="Cut the recording into pieces.",
        )
    _sweep(shop)
    if sum(1 for u in _open_uploads(shop) if u.by == by) >= _OPEN:
        raise InputRefused(
            "Too many of your uploads are on their way.", do="Finish or cancel one first."
        )
    upload = Upload(secrets.token_hex(16), name[:300] or "recording", size, 0, case, by)
    try:
        if shutil.disk_usage(shop.folder).free < size + _SPARE:
            raise OSError(errno.ENOSPC, "no room")
        _part(shop, upload.id).touch(mode=0o600)
        fresh = _meta(shop, upload.id).with_suffix(".new")
        fresh.write_text(json.dumps(asdict(upload)), encoding="utf-8")
        fresh.replace(_meta(shop, upload.id))  # whole or not at all
    except OSError as error:
        raise disk_fault(error, "uploads") from error
    return upload


def state(shop: Shop, upload_id: str) -> Upload:
    """Return how far an upload is.

    Raises:
        NotFound: no such upload.
    """
    gone = NotFound(
        "There is no such upload; it was finished, cancelled, or its part is gone.",
        do="Choose the file again.",
    )
    if _ID.fullmatch(upload_id) is None:
        raise gone
    try:
        row = json.loads(_meta(shop, upload_id).read_text(encoding="utf-8"))
        received = _part(shop, upload_id).stat().st_size
        return Upload(**{**row, "received": received})
    except (FileNotFoundError, ValueError, TypeError):
        raise gone from None
    except OSError as error:
        raise disk_fault(error, "uploads") from error


def take_piece(shop: Shop, upload_id: str, offset: int, piece: bytes) -> Upload:
    """Write a piece that begins at *offset*; a piece that is already here is not written again.

    Raises:
        Conflict: the piece would leave a hole; the answer says where to go on.
        TooLarge: the piece, or the sum, is larger than it was said to be.
    """
    upload = state(shop, upload_id)
    if len(piece) > PIECE:
        raise TooLarge(f"A piece has at most {PIECE} bytes.")
    if offset < 0 or offset > upload.received:
        raise Conflict(
            f"{upload.received} bytes are here; this piece begins at {offset}.",
            do="Go on from where the upload stands.",
        )
    if offset + len(piece) > upload.size:
        raise TooLarge(f"The file was said to have {upload.size} bytes; this is more.")
    fresh = piece[upload.received - offset :]
    if fresh:
        try:
            _write_at(_part(shop, upload_id), upload.received, fresh)
        except OSError as error:
            raise disk_fault(error, "uploads") from error
    return state(shop, upload_id)


def finish(shop: Shop, upload_id: str, sha256: str) -> tuple[Upload, str]:
    """Check the whole file and store it; returns the upload and the digest of its bytes.

    Raises:
        Conflict: bytes are missing, or the bytes are not those that were sent.
    """
    upload = state(shop, upload_id)
    if upload.received != upload.size:
        raise Conflict(
            f"{upload.received} of {upload.size} bytes are here.", do="Send the rest first."
        )
    part = _part(shop, upload_id)
    try:
        stored = shop.store_file(part, upload.name, expected=sha256)
    except Conflict:
        cancel(shop, upload_id)
        raise
    cancel(shop, upload_id)
    return upload, stored


def cancel(shop: Shop, upload_id: str) -> None:
    """Throw an upload away.

    Raises:
        NotFound: no such upload.
    """
    state(shop, upload_id)
    _part(shop, upload_id).unlink(missing_ok=True)
    _meta(shop, upload_id).unlink(missing_ok=True)


def sweep(shop: Shop) -> None:
    """Throw away uploads that nobody went on with, and halves of them."""
    _sweep(shop)
    metas = {meta.stem for meta in _all(shop)}
    for left in (*_folder(shop).glob("*.part"), *_folder(shop).glob("*.new")):
        if left.stem not in metas and time.time() - left.stat().st_mtime > _YOUNG_S:
            left.unlink(missing_ok=True)


def _write_at(part: Path, offset: int, fresh: bytes) -> None:
    """Write all of a piece or nothing of it: what a full disk cut off is taken back."""
    with part.open("r+b") as target:
        target.seek(0, os.SEEK_END)
        if target.tell() != offset:
            raise Conflict("Another device sends the same file.", do="Ask where to go on.")
        try:
            target.write(fresh)
            target.flush()
            os.fsync(target.fileno())
        except OSError:
            target.truncate(offset)
            raise


def _open_uploads(shop: Shop) -> Iterator[Upload]:
    for meta in list(_all(shop)):
        with contextlib.suppress(NotFound):
            yield state(shop, meta.stem)


def _folder(shop: Shop) -> Path:
    folder = shop.folder / "uploads"
    try:
        folder.mkdir(exist_ok=True, mode=0o700)
    except OSError as error:
        raise disk_fault(error, str(folder)) from error
    return folder


def _part(shop: Shop, upload_id: str) -> Path:
    return _folder(shop) / f"{upload_id}.part"


def _meta(shop: Shop, upload_id: str) -> Path:
    return _folder(shop) / f"{upload_id}.json"


def _all(shop: Shop) -> Iterator[Path]:
    return _folder(shop).glob("*.json")


def _sweep(shop: Shop) -> None:
    for meta in list(_all(shop)):
        part = meta.with_suffix(".part")
        if not part.exists() or time.time() - part.stat().st_mtime > _KEEP_S:
            part.unlink(missing_ok=True)
            meta.unlink(missing_ok=True)
