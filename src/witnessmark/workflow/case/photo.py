"""Photos: checked by their bytes, stored by their digest, entered with a caption."""

from __future__ import annotations

from typing import BinaryIO

from witnessmark.errors import InputRefused, NotFound
from witnessmark.model.entries.entry import Entry
from witnessmark.model.entries.entry_data import PhotoData
from witnessmark.workflow.case.photo_data import without_private_data
from witnessmark.workflow.case.shop_on_disk import Shop

__all__ = ["kind_of_photo", "photo_bytes", "store_photo"]

#: First bytes -> media type. Nothing else is taken, and nothing is sent as anything else.
_KINDS: tuple[tuple[bytes, int, str], ...] = (
    (b"\xff\xd8\xff", 0, "image/jpeg"),
    (b"\x89PNG\r\n\x1a\n", 0, "image/png"),
    (b"WEBP", 8, "image/webp"),
    (b"ftypheic", 4, "image/heic"),
    (b"ftypmif1", 4, "image/heic"),
)
LARGEST = 40 << 20


def kind_of_photo(head: bytes) -> str | None:
    """Return the media type that the first bytes of a photo show, ``None`` when it is none."""
    for magic, place, kind in _KINDS:
        if head[place : place + len(magic)] == magic:
            return kind
    return None


def store_photo(
    shop: Shop,
    case_id: str,
    stream: BinaryIO,
    name: str,
    *,
    caption: str = "",
    by: str | None = None,
    entry_id: str | None = None,
    at: str | None = None,
) -> Entry:
    """Store a photo and enter it.

    Raises:
        InputRefused: not a photo, or too large.
        NotFound: no such case.
    """
    shop.casebook.count(case_id)
    head = stream.read(32)
    stream.seek(0, 2)
    size = stream.tell()
    stream.seek(0)
    if kind_of_photo(head) is None:
        raise InputRefused(
            "The file is not a photo known here.", where=name[:80], do="Use JPEG, PNG or WebP."
        )
    if size > LARGEST:
        raise InputRefused(f"A photo has at most {LARGEST >> 20} MiB.", where=name[:80])
    sha256 = shop.store_file(stream, name)
    data = {"path": name, "sha256": sha256, "caption": caption}
    return shop.add(case_id, "photo", data, by=by, entry_id=entry_id, at=at)


def photo_bytes(
    shop: Shop, case_id: str, entry_id: str, *, original: bool = False
) -> tuple[bytes, str]:
    """Return a photo's bytes and media type, without place and device data.

    Args:
        shop: the shop.
        case_id: the case.
        entry_id: the photo's entry.
        original: as it came in, with everything its device wrote into it.

    Raises:
        NotFound: no such photo in the case.
        InputRefused: the data cannot be taken out of it.
    """
    entry = next((e for e in shop.case(case_id).entries if e.id == entry_id), None)
    if entry is None or not isinstance(entry.data, PhotoData):
        raise NotFound("There is no such photo in the case.")
    content = shop.recording_path(case_id, entry).read_bytes()
    kind = kind_of_photo(content[:32])
    if kind is None:
        raise NotFound("The stored file is not a photo.")
    return (content if original else without_private_data(content)), kind
