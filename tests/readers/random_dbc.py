"""Random DBC definitions with plain, multiplexed and extended-multiplexed signals (seeded)."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np


@dataclass
class Laid:
    """One signal as it is written into the file."""

    name: str
    start: int
    bits: int
    motorola: bool
    signed: bool
    scale: float
    offset: float
    mark: str = ""
    switch: str = ""
    ranges: list[tuple[int, int]] = field(default_factory=list)


def definition(seed: int) -> tuple[str, dict[int, int]]:
    """Return the text of a DBC file, and its messages: identifier -> number of data bytes."""
    noise = np.random.default_rng(seed)
    lines = ['VERSION ""', "", "NS_ :", "", "BS_:", "", "BU_: Engine", ""]
    extended: list[str] = []
    messages: dict[int, int] = {}
    for number in range(int(noise.integers(1, 4))):
        identifier = (
            0x18FF0000 | (0x10 + seed % 64) << 8 | number << 8 | int(noise.integers(1, 250))
        )
        kind = ("plain", "multiplexed", "nested")[int(noise.integers(0, 3)) if number else seed % 3]
        signals = laid(noise, kind)
        messages[identifier] = 8
        name = f"Message{number}"
        lines.append(f"BO_ {identifier | 0x80000000} {name}: 8 Engine")
        for one in signals:
            order, sign = int(not one.motorola), "-" if one.signed else "+"
            lines.append(
                f" SG_ {one.name} {one.mark}{' ' if one.mark else ''}: {one.start}|{one.bits}"
                f'@{order}{sign} ({one.scale:g},{one.offset:g}) [0|0] "x" Engine'
            )
            if one.ranges and kind == "nested":
                ranges = ", ".join(f"{a}-{b}" for a, b in one.ranges)
                extended.append(
                    f"SG_MUL_VAL_ {identifier | 0x80000000} {one.name} {one.switch} {ranges};"
                )
        lines.append("")
    return "\n".join([*lines, *extended]) + "\n", messages


def laid(noise: np.random.Generator, kind: str) -> list[Laid]:
    """Lay out the signals of one message: each byte belongs to one field of a branch."""

    def fields(first: int, last: int, prefix: str, mark: str = "", switch: str = "",
               ranges: list[tuple[int, int]] | None = None) -> list[Laid]:  # fmt: skip
        found, byte = [], first
        while byte <= last:
            size = int(noise.integers(1, min(3, last - byte + 1) + 1))
            bits = int(noise.integers(8 * size - 7, 8 * size + 1))
            motorola = bool(noise.integers(0, 2))
            start = 8 * byte + 7 if motorola else 8 * byte
            found.append(Laid(f"{prefix}{byte}", start, bits, motorola, bool(noise.integers(0, 2)),
                              float(noise.choice([1.0, 0.5, 0.125, 4.0])),
                              float(noise.choice([0.0, -40.0, -125.0, 10.0])), mark, switch,
                              ranges or []))  # fmt: skip
            byte += size
        return found

    if kind == "plain":
        return fields(0, 7, "P")
    switch = Laid("Switch", 0, int(noise.integers(2, 9)), False, False, 1.0, 0.0, "M")
    top = 2**switch.bits
    if kind == "multiplexed":
        found = [switch]
        for value in range(min(3, top)):
            found += fields(1, 5, f"S{value}x", f"m{value}")
        return found + fields(6, 7, "P")
    inner = Laid("Inner", 8, 3, False, False, 1.0, 0.0, "m1M", "Switch", [(1, 1)])
    low = [(0, 0), (2, min(3, top - 1))] if top > 3 else [(0, 0)]
    found = [switch, inner]
    found += fields(2, 4, "A", "m0", "Switch", low)
    found += fields(2, 3, "B", "m2", "Inner", [(2, 4)])
    found += fields(2, 5, "C", "m5", "Inner", [(5, 5), (7, 7)])
    return found + fields(6, 7, "P")
