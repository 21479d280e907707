"""Uploads that survive a dropped link and a restart: pieces on disk until the whole is checked."""

from __future__ import annotations

import json
import os
import re
import secrets
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from witnessmark.errors import Conflict, InputRefused, NotFound, TooLarge
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["PIECE", "Upload", "begin", "cancel", "finish", "state", "take_piece"]

#: Largest piece taken at once [bytes].
PIECE = 4 << 20
#: Largest file taken [bytes].
LARGEST = 2 << 30
_OPEN = 40
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
    """

    id: str
    name: str
    size: int
    received: int
    case: str


def begin(shop: Shop, case: str, name: str, size: int) -> Upload:
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
    if sum(1 for _ in _all(shop)) >= _OPEN:
        raise InputRefused("Too many uploads are on their way.", do="Finish or cancel one first.")
    upload = Upload(secrets.token_hex(16), name[:300] or "recording", size, 0, case)
    _meta(shop, upload.id).write_text(json.dumps(asdict(upload)), encoding="utf-8")
    _part(shop, upload.id).touch()
    return upload


def state(shop: Shop, upload_id: str) -> Upload:
    """Return how far an upload is.

    Raises:
        NotFound: no such upload.
    """
    if _ID.fullmatch(upload_id) is None or not _meta(shop, upload_id).is_file():
        raise NotFound("There is no such upload.", do="Choose the file again.")
    row = json.loads(_meta(shop, upload_id).read_text(encoding="utf-8"))
    row["received"] = _part(shop, upload_id).stat().st_size
    return Upload(**row)


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
        with _part(shop, upload_id).open("ab") as target:
            target.write(fresh)
            target.flush()
            os.fsync(target.fileno())
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


def _folder(shop: Shop) -> Path:
    folder = shop.folder / "uploads"
    folder.mkdir(exist_ok=True)
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
