"""What the hundred tables are written with: cells in, a file and its true content out.

The truth is taken from the lists a file was made of, never from reading the file.
"""

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).resolve().parent.parent
Values = Sequence[float | None]
_made: list[dict[str, Any]] = []


def line(first: float, last: float, n: int = 12, digits: int = 0) -> list[float]:
    """Return n values on a straight line, rounded, with a small wobble between the ends."""
    wobble = (0, 1, -1, 2, 0, -2, 1)
    step = 10.0**-digits
    values = [first + (last - first) * i / (n - 1) for i in range(n)]
    inner = [v + wobble[i % 7] * step for i, v in enumerate(values[1:-1], 1)]
    return [round(v, digits) for v in (values[0], *inner, values[-1])]


def steps(first: float, step: float, n: int = 12, digits: int = 3) -> list[float]:
    """Return n stamps."""
    return [round(first + step * i, digits) for i in range(n)]


def show(value: float | None, digits: int = 0, missing: str = "") -> str:
    """Return the cell of a value with a decimal point."""
    return missing if value is None else f"{value:.{digits}f}"


def comma(value: float, digits: int = 1) -> str:
    """Return the cell of a value with a decimal comma."""
    return f"{value:.{digits}f}".replace(".", ",")


def rows(sep: str, *columns: Sequence[str]) -> list[str]:
    """Return the lines of columns of cells."""
    return [sep.join(cells) for cells in zip(*columns, strict=True)]


def cells(values: Values, digits: int = 0, missing: str = "") -> list[str]:
    """Return a column of cells."""
    return [show(v, digits, missing) for v in values]


def commas(values: Sequence[float], digits: int = 1) -> list[str]:
    """Return a column of cells with decimal commas."""
    return [comma(v, digits) for v in values]


def text(*lines: str, end: str = "\n") -> str:
    """Return lines as the text of a file."""
    return "".join(row + end for row in lines)


def read(
    n: int,
    duration: float | None,
    channels: dict[str, tuple[Values, str]],
    named: Sequence[int] = (),
    say: str = "",
) -> dict[str, Any]:
    """Return the outcome "read right"; `named` are the file's lines that must be spoken of."""
    out: dict[str, Any] = {"outcome": "read", "rows": n, "duration_s": duration}
    out["channels"] = _ends(channels)
    out["range"] = _ranges(channels)
    if named:
        out["named_lines"] = list(named)
    if say:
        out["say"] = say
    return out


def ask(about: str, channels: dict[str, tuple[Values, str]] | None = None) -> dict[str, Any]:
    """Return the outcome "asked"; the channels that may be read meanwhile."""
    out: dict[str, Any] = {"outcome": "ask", "about": about}
    if channels:
        out["channels"] = _ends(channels)
        out["range"] = _ranges(channels)
    return out


def refuse(row: int | None = None, column: int | None = None) -> dict[str, Any]:
    """Return the outcome "refused", at a line and a column counted from 1 where one is at fault."""
    return {"outcome": "refuse", "row": row, "column": column}


def put(file: str, body: str | bytes, trap: str, *accepted: dict[str, Any]) -> None:
    """Write one file and keep its line of expected.jsonl."""
    data = body if isinstance(body, bytes) else body.encode()
    (FOLDER / file).write_bytes(data)
    _made.append({"file": file, "trap": trap, "accepted": list(accepted)})


def finish() -> None:
    """Write expected.jsonl."""
    names = [m["file"] for m in _made]
    if len(set(names)) != 100 or len(names) != 100:
        raise SystemExit(f"{len(names)} files, {len(set(names))} names; a hundred were meant")
    out = "".join(json.dumps(m, ensure_ascii=False) + "\n" for m in _made)
    (FOLDER / "expected.jsonl").write_text(out, encoding="utf-8")


def _ends(channels: dict[str, tuple[Values, str]]) -> dict[str, list[float | str]]:
    out: dict[str, list[float | str]] = {}
    for name, (values, unit) in channels.items():
        there = [v for v in values if v is not None]
        out[name] = [there[0], there[-1], unit]
    return out


def _ranges(channels: dict[str, tuple[Values, str]]) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {}
    for name, (values, _) in channels.items():
        there = [v for v in values if v is not None]
        out[name] = [min(there), max(there), len(there)]
    return out
