"""Small logs for the tests, written line by line."""

from __future__ import annotations

from pathlib import Path


def candump(path: Path, frames: list[tuple[float, int, str]], *, bus: str = "can0") -> Path:
    """Write ``candump -L`` lines of (time, 29-bit identifier, data in hexadecimal)."""
    lines = [f"({time:.6f}) {bus} {identifier:08X}#{data}\n" for time, identifier, data in frames]
    path.write_text("".join(lines))
    return path
