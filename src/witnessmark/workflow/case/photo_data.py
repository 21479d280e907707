"""What leaves the shop with a photo: the picture, and not where and with what it was taken.

Originals stay as they came in. What is shown, exported or sent is copied without the blocks that
hold place, time, device and comments; of them only the way up is kept. Structure only: no pixel is
touched. JPEG per ITU-T T.81 with JFIF and Exif segments, PNG per the W3C recommendation, WebP per
RFC 9649.
"""

from __future__ import annotations

import struct

from witnessmark.errors import InputRefused

__all__ = ["without_private_data"]

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = frozenset(
    {
        b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"sBIT", b"sRGB", b"bKGD",
        b"pHYs", b"acTL", b"fcTL", b"fdAT", b"cICP",
    }
)  # fmt: skip
_WEBP_KEPT = frozenset({b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF"})
#: Flags of an extended WebP that promise blocks we leave out: colour profile, Exif, XMP.
_WEBP_FLAGS = 0x20 | 0x08 | 0x04
_ORIENTATION = 0x0112


def without_private_data(content: bytes) -> bytes:
    """Return a photo without place, time, device and comments.

    Raises:
        InputRefused: the format keeps such data where it cannot be taken out safely, or the
            photo is damaged.
    """
    try:
        if content[:3] == b"\xff\xd8\xff":
            return _jpeg(content)
        if content[:8] == _PNG:
            return _png(content)
        if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
            return _webp(content)
    except (struct.error, IndexError, ValueError) as error:
        raise InputRefused(
            "The photo is damaged, so its place and device data cannot be taken out.",
            do="Take it again, or hand out the original knowingly.",
        ) from error
    raise InputRefused(
        "The place and device data of this format cannot be taken out.",
        do="Send the photo as JPEG, or hand out the original knowingly.",
    )


def _jpeg(content: bytes) -> bytes:
    out, at, turn = bytearray(b"\xff\xd8"), 2, 1
    while True:
        if content[at] != 0xFF:
            raise ValueError("no marker")
        marker = content[at + 1]
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker == 0xD9:
            break
        (length,) = struct.unpack(">H", content[at + 2 : at + 4])
        end = at + 2 + length
        if length < 2 or end > len(content):
            raise ValueError("a segment runs out of the file")
        if marker == 0xE1 and content[at + 4 : at + 10] == b"Exif\x00\x00":
            turn = _turn(content[at + 10 : end]) or turn
        # Kept: JFIF (without its small picture), Adobe's note of the colours, and the picture.
        elif marker == 0xE0 and content[at + 4 : at + 9] == b"JFIF\x00":
            out += b"\xff\xe0\x00\x10" + content[at + 4 : at + 16] + b"\x00\x00"
        elif _is_picture(marker, content[at + 4 : at + 9]):
            out += content[at:end]
        at = end
        if marker == 0xDA:
            at = _scan(content, at)
            out += content[end:at]
    out += b"\xff\xd9"  # what comes after the end, such as a film of the moment, stays behind
    if turn != 1:
        out[2:2] = _exif(turn)
    return bytes(out)


def _is_picture(marker: int, head: bytes) -> bool:
    """Say whether a segment is needed to show the picture: no application's block, no comment."""
    return not (0xE0 <= marker <= 0xEF or marker == 0xFE) or (marker == 0xEE and head == b"Adobe")


def _scan(content: bytes, at: int) -> int:
    """Return where the coded picture ends: at the next marker that is no restart."""
    while True:
        at = content.index(b"\xff", at)
        following = content[at + 1]
        if following == 0 or 0xD0 <= following <= 0xD7:
            at += 2
        elif following == 0xFF:
            at += 1
        else:
            return at


def _turn(exif: bytes) -> int:
    """Return which way up a photo is, 1 to 8, from its Exif block; 0 when it does not say."""
    order = {b"II": "<", b"MM": ">"}.get(exif[:2])
    if order is None or len(exif) < 10:
        return 0
    (start,) = struct.unpack(f"{order}I", exif[4:8])
    (count,) = struct.unpack(f"{order}H", exif[start : start + 2])
    for number in range(min(count, 200)):
        row = exif[start + 2 + 12 * number :][:12]
        if len(row) == 12 and struct.unpack(f"{order}H", row[:2])[0] == _ORIENTATION:
            (found,) = struct.unpack(f"{order}H", row[8:10])
            return int(found) if 1 <= found <= 8 else 0
    return 0


def _exif(turn: int) -> bytes:
    row = struct.pack(">HHIHH", _ORIENTATION, 3, 1, turn, 0)
    body = b"Exif\x00\x00MM\x00*" + struct.pack(">IH", 8, 1) + row + b"\x00\x00\x00\x00"
    return b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body


def _png(content: bytes) -> bytes:
    out, at = bytearray(_PNG), len(_PNG)
    while True:
        length, kind = struct.unpack(">I4s", content[at : at + 8])
        end = at + 12 + length
        if end > len(content):
            raise ValueError("a block runs out of the file")
        if kind in _PNG_KEPT:
            out += content[at:end]
        if kind == b"IEND":
            return bytes(out)
        at = end


def _webp(content: bytes) -> bytes:
    out, at = bytearray(), 12
    end = 8 + struct.unpack("<I", content[4:8])[0]
    if end > len(content):
        raise ValueError("the file is cut off")
    while at + 8 <= end:
        kind, length = struct.unpack("<4sI", content[at : at + 8])
        after = at + 8 + length + length % 2
        block = bytearray(content[at:after])
        if kind == b"VP8X":
            block[8] &= ~_WEBP_FLAGS & 0xFF
        if kind in _WEBP_KEPT:
            out += block
        at = after
    return b"RIFF" + struct.pack("<I", len(out) + 4) + b"WEBP" + bytes(out)
