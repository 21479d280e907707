"""Arithmetic on words of eight characters: numbers out of many lines of text at once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.readers.contract import Mask, Words64

__all__ = ["decimal", "fits", "hexadecimal", "payload", "step"]

Positions = npt.NDArray[np.int64]
_ONES = 0x0101010101010101
_ZEROS = 0x3030303030303030


def step(at: Positions) -> int | None:
    """Return the distance of the lines where it is the same throughout."""
    if at.size < 3:
        return None
    first = int(at[1] - at[0])
    if int(at[-1] - at[0]) != first * (at.size - 1):
        return None
    return first if bool((np.diff(at) == first).all()) else None


def _load(words: Words64, at: Positions, step: int | None, offset: int) -> Words64:
    """Return the eight characters at *offset* of every line as one word each."""
    if step is None:
        return words[at + offset]
    first = int(at[0]) + offset
    return words[first : first + step * (at.size - 1) + 1 : step].copy()


def fits(words: Words64, at: Positions, checks: list[tuple[int, int, int]]) -> Mask:
    """Say which lines have the fixed characters of *checks*: (offset, mask, wanted)."""
    even = step(at)
    fitting = np.ones(at.size, np.bool_)
    for offset, mask, wanted in checks:
        fitting &= (_load(words, at, even, offset) & np.uint64(mask)) == np.uint64(wanted)
    return fitting


def decimal(
    words: Words64, at: Positions, step: int | None, span: tuple[int, int], ok: Mask
) -> Words64:
    """Read a decimal number of up to 18 digits in every line."""
    start, end = span
    value: Words64 | None = None
    while start < end:
        count = min(8, end - start)
        word = _load(words, at, step, start)
        if count < 8:
            shift = 8 * (8 - count)
            word <<= np.uint64(shift)
            word |= np.uint64(_ZEROS & ((1 << shift) - 1))
        high = np.uint64(0xF0F0F0F0F0F0F0F0)
        bad = (word & high) != np.uint64(_ZEROS)
        bad |= ((word + np.uint64(6 * _ONES)) & high) != np.uint64(_ZEROS)
        ok &= ~bad
        word &= np.uint64(0x0F0F0F0F0F0F0F0F)
        word = (word * np.uint64(10) + (word >> np.uint64(8))) & np.uint64(0x00FF00FF00FF00FF)
        word = (word * np.uint64(100) + (word >> np.uint64(16))) & np.uint64(0x0000FFFF0000FFFF)
        word = (word * np.uint64(10000) + (word >> np.uint64(32))) & np.uint64(0xFFFFFFFF)
        value = word if value is None else value * np.uint64(10**count) + word
        start += count
    assert value is not None  # noqa: S101  (a span is never empty)
    return value


def _nibbles(word: Words64, ok: Mask) -> Words64:
    """Turn eight hexadecimal characters into eight values of four bits, checking each."""
    ones = np.uint64(_ONES)
    control = (((word >> np.uint64(5)) | (word >> np.uint64(6))) & ones) != ones
    word |= np.uint64(0x20 * _ONES)
    letter = (word >> np.uint64(6)) & ones
    value = (word & np.uint64(0x0F * _ONES)) + letter * np.uint64(9)
    bad = (word & np.uint64(0xF0 * _ONES)) != np.uint64(_ZEROS) + letter * np.uint64(0x30)
    six = letter * np.uint64(6)
    bad |= ((value + np.uint64(6 * _ONES) - six) & np.uint64(0x10 * _ONES)) != 0
    bad |= (((value + six) >> np.uint64(4)) & ones) != letter
    ok &= ~(bad | control)
    return value


def _bytes(nibbles: Words64) -> Words64:
    """Pack eight nibbles into four bytes, the first character's byte lowest."""
    pairs = (nibbles << np.uint64(4)) | (nibbles >> np.uint64(8))
    pairs &= np.uint64(0x00FF00FF00FF00FF)
    pairs = (pairs | (pairs >> np.uint64(8))) & np.uint64(0x0000FFFF0000FFFF)
    packed: Words64 = (pairs | (pairs >> np.uint64(16))) & np.uint64(0xFFFFFFFF)
    return packed


def hexadecimal(
    words: Words64, at: Positions, step: int | None, span: tuple[int, int], ok: Mask
) -> npt.NDArray[np.uint32]:
    """Read a hexadecimal number of up to eight digits in every line."""
    count = span[1] - span[0]
    word = _load(words, at, step, span[0])
    if count < 8:
        shift = 8 * (8 - count)
        word <<= np.uint64(shift)
        word |= np.uint64(_ZEROS & ((1 << shift) - 1))
    return _bytes(_nibbles(word, ok)).astype(np.uint32).byteswap()


def payload(
    words: Words64,
    text: bytes,
    at: Positions,
    step: int | None,
    places: tuple[int, ...],
    ok: Mask,
) -> Words64:
    """Read the data bytes of every line; bytes that are not there are 0xFF."""
    count = len(places)
    beyond = np.uint64((0xFFFFFFFFFFFFFFFF << (8 * count)) & 0xFFFFFFFFFFFFFFFF)
    value = np.full(at.size, beyond, np.uint64)
    if count and places == tuple(range(places[0], places[0] + 2 * count, 2)):
        for first in range(0, count, 4):
            here = min(4, count - first)
            word = _load(words, at, step, places[first])
            if here < 4:
                keep = (1 << (16 * here)) - 1
                word &= np.uint64(keep)
                word |= np.uint64(_ZEROS & ~keep)
            value |= _bytes(_nibbles(word, ok)) << np.uint64(32 * (first // 4))
        return value
    pairs = np.ndarray((len(text) - 1,), np.dtype("<u2"), text, 0, (1,))
    for number, place in enumerate(places):
        found = _PAIRS[pairs[at + place]]
        ok &= found < 256
        value |= (found & 0xFF).astype(np.uint64) << np.uint64(8 * number)
    return value


def _pairs() -> npt.NDArray[np.uint16]:
    table = np.full(65536, 0x100, np.uint16)
    digits = {**{ord(c): int(c, 16) for c in "0123456789abcdefABCDEF"}}
    for first, high in digits.items():
        for second, low in digits.items():
            table[first | second << 8] = high << 4 | low
    return table


_PAIRS = _pairs()
