"""Arithmetic on words of eight characters: numbers out of many lines of text at once."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from witnessmark.readers.told import Words64

__all__ = ["decimal", "hexadecimal", "misfits", "payload", "step"]

Positions = npt.NDArray[np.int64]
_ONES = 0x0101010101010101
_ZEROS = 0x3030303030303030
#: Two neighbours become one number: factor, distance, what is kept.
_FOLDS = tuple(
    (np.uint64(factor), np.uint64(shift), np.uint64(mask))
    for factor, shift, mask in (
        (10, 8, 0x00FF00FF00FF00FF),
        (100, 16, 0x0000FFFF0000FFFF),
        (10000, 32, 0xFFFFFFFF),
    )
)


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


def misfits(
    words: Words64, at: Positions, step: int | None, checks: list[tuple[int, int, int]]
) -> Words64:
    """Return zero for the lines that have the fixed characters of *checks*.

    A check is (offset, mask, wanted).
    """
    bad = np.zeros(at.size, np.uint64)
    for offset, mask, wanted in checks:
        word = _load(words, at, step, offset)
        word ^= np.uint64(wanted)
        word &= np.uint64(mask)
        bad |= word
    return bad


def decimal(
    words: Words64, at: Positions, step: int | None, span: tuple[int, int], bad: Words64
) -> Words64:
    """Read a decimal number of up to 18 digits in every line; other letters show in *bad*."""
    start, end = span
    value: Words64 | None = None
    while start < end:
        count = min(8, end - start)
        word = _load(words, at, step, start)
        free = 8 * (8 - count)
        if free:
            word <<= np.uint64(free)
        word ^= np.uint64(_ZEROS >> free << free)
        check = word + np.uint64(6 * _ONES)
        check |= word
        check &= np.uint64(0xF0 * _ONES)
        bad |= check
        word &= np.uint64(0x0F * _ONES)
        for factor, shift, mask in _FOLDS:
            high = word >> shift
            word *= factor
            word += high
            word &= mask
        start += count
        value = word if value is None else value * np.uint64(10**count) + word
    assert value is not None  # noqa: S101  (a span is never empty)
    return value


def _nibbles(word: Words64, bad: Words64) -> Words64:
    """Turn eight hexadecimal characters into eight values of four bits, checking each."""
    value, wrong = _digits(word)
    if np.bitwise_or.reduce(wrong):  # small letters, or none of both
        word &= ~((word & np.uint64(0x40 * _ONES)) >> np.uint64(1))
        value, wrong = _digits(word)
        bad |= wrong
    return value


def _digits(word: Words64) -> tuple[Words64, Words64]:
    """Return the values of 0 to 9 and A to F, and what is not zero where a letter is neither."""
    letter = word >> np.uint64(2)
    letter &= np.uint64(0x10 * _ONES)
    seven = letter >> np.uint64(4)
    seven *= np.uint64(7)
    value = word - np.uint64(_ZEROS)
    value -= seven
    wrong = value + np.uint64(6 * _ONES)
    wrong ^= letter
    wrong |= value
    wrong &= np.uint64(0xF0 * _ONES)
    return value, wrong


def _bytes(nibbles: Words64) -> Words64:
    """Pack eight nibbles into four bytes, the first character's byte lowest."""
    pairs = nibbles << np.uint64(4)
    pairs |= nibbles >> np.uint64(8)
    pairs &= np.uint64(0x00FF00FF00FF00FF)
    pairs |= pairs >> np.uint64(8)
    pairs &= np.uint64(0x0000FFFF0000FFFF)
    pairs |= pairs >> np.uint64(16)
    pairs &= np.uint64(0xFFFFFFFF)
    return pairs


def hexadecimal(
    words: Words64, at: Positions, step: int | None, span: tuple[int, int], bad: Words64
) -> npt.NDArray[np.uint32]:
    """Read a hexadecimal number of up to eight digits in every line."""
    free = 8 * (8 - (span[1] - span[0]))
    word = _load(words, at, step, span[0])
    if free:
        word <<= np.uint64(free)
        word |= np.uint64(_ZEROS & ((1 << free) - 1))
    return _bytes(_nibbles(word, bad)).astype(np.uint32).byteswap()


def payload(
    words: Words64,
    letters: npt.NDArray[np.uint8],
    at: Positions,
    step: int | None,
    places: tuple[int, ...],
    bad: Words64,
) -> Words64:
    """Read up to eight data bytes of every line; bytes that are not there are 0xFF."""
    count = len(places)
    if count and places == tuple(range(places[0], places[0] + 2 * count, 2)):
        value = np.zeros(0, np.uint64)
        for first in range(0, count, 4):
            here = min(4, count - first)
            word = _load(words, at, step, places[first])
            if here < 4:
                keep = (1 << (16 * here)) - 1
                word &= np.uint64(keep)
                word |= np.uint64(_ZEROS & ~keep)
            four = _bytes(_nibbles(word, bad))
            if first:
                four <<= np.uint64(32)
                four |= value
            value = four
        if count < 8:
            value |= np.uint64(_beyond(count))
        return value
    value = np.full(at.size, _beyond(count), np.uint64)
    pairs = np.ndarray((letters.size - 1,), np.dtype("<u2"), letters.data, 0, (1,))
    for number, place in enumerate(places):
        found = _PAIRS[pairs[at + place]]
        bad |= found & np.uint16(0x100)
        value |= (found & np.uint16(0xFF)).astype(np.uint64) << np.uint64(8 * number)
    return value


def _beyond(count: int) -> int:
    """Return a word whose bytes from number *count* on are 0xFF."""
    return (2**64 - 1) << (8 * count) & (2**64 - 1)


def _pairs() -> npt.NDArray[np.uint16]:
    table = np.full(65536, 0x100, np.uint16)
    digits = {**{ord(c): int(c, 16) for c in "0123456789abcdefABCDEF"}}
    for first, high in digits.items():
        for second, low in digits.items():
            table[first | second << 8] = high << 4 | low
    return table


_PAIRS = _pairs()
