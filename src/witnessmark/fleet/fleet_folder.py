"""A screening that can be gone on with: its rows on disk as they come, whatever ends it."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, Protocol

import polars as pl

from witnessmark.fleet.screening import Screened
from witnessmark.machine import opened_new
from witnessmark.words.masking import hidden, hide

__all__ = ["FleetFolder", "row_of"]

#: Files whose findings stand in one Parquet file.
PART = 200
#: Files that are remembered together.
_AT_ONCE = 50
#: Setting of a casebook that holds the key of the digests.
_KEY = "fleet_key"
_COLUMNS = {
    "file": pl.String, "truck": pl.String, "began": pl.Float64, "code": pl.String,
    "outcome": pl.String, "quantity": pl.String, "value": pl.Float64, "unit": pl.String,
    "sentence": pl.String,
}  # fmt: skip


class Memory(Protocol):
    """What remembers screened files beyond one folder: a casebook."""

    def screened_ids(self) -> set[str]:
        """Return the ids of the files that are done."""

    def screened(self) -> list[Any]:
        """Return the row of every file."""

    def keep_screened(self, rows: Mapping[str, tuple[str, Any]]) -> None:
        """Store rows: place -> (id, row)."""

    def setting(self, key: str) -> Any:
        """Return a setting."""

    def set_setting(self, key: str, value: Any) -> None:
        """Store a setting."""


class FleetFolder:
    """The folder of one screening.

    ``screen.jsonl`` holds a line a file, ``findings-0001.parquet`` and so on the findings of two
    hundred files each; ``key`` tells trucks apart and stays on this machine.

    Args:
        folder: made where it is not there.
        memory: remembers the rows beyond this folder, and holds the key.
    """

    def __init__(self, folder: Path, *, memory: Memory | None = None) -> None:
        self.folder = folder
        self.memory = memory
        folder.mkdir(parents=True, exist_ok=True)
        self.path = folder / "screen.jsonl"

    def key(self) -> bytes:
        """Return the key of the digests; made the first time."""
        if self.memory is not None:
            held = self.memory.setting(_KEY)
            if held is None:
                held = secrets.token_hex(32)
                self.memory.set_setting(_KEY, held)
            return bytes.fromhex(held)
        path = self.folder / "key"
        if not path.is_file():
            with os.fdopen(opened_new(path, private=True, over=True), "wb") as file:
                file.write(secrets.token_bytes(32))
        return path.read_bytes()

    def rows(self) -> list[dict[str, Any]]:
        """Return what is done; a line that a kill cut short is taken away first."""
        if not self.path.is_file():
            return []
        raw = self.path.read_bytes()
        whole = raw[: raw.rfind(b"\n") + 1]
        if len(whole) != len(raw):
            with self.path.open("r+b") as file:
                file.truncate(len(whole))
        return [json.loads(line) for line in whole.splitlines() if line.strip()]

    def done(self) -> set[str]:
        """Return the ids of the files that were looked at to the end."""
        rows = self.rows()
        here = {row["id"] for row in rows if _over(row)}
        if self.memory is None:
            return here
        known = self.memory.screened_ids()
        # What a kill kept from being remembered stands in the folder.
        for start in range(0, len(rows), PART):
            self._remember(r for r in rows[start : start + PART] if r["id"] not in known)
        return here | known

    def still(self, path: Path) -> str:
        """Return the identity of a file as it is now: its path, its size, its time."""
        return _id(path)

    def take(self, found: Iterable[Screened]) -> Iterator[dict[str, Any]]:
        """Write each row as it comes, and give it back as it was written."""
        before, key = self.rows(), self.key()
        part = len(before) // PART
        here, fresh = before[part * PART :], []
        del before  # what is done costs no memory while the rest is looked at
        with self.path.open("ab") as file:
            for one in found:
                row = row_of(one, key)
                file.write(json.dumps(row, ensure_ascii=False).encode() + b"\n")
                file.flush()
                os.fsync(file.fileno())
                here.append(row)
                fresh.append(row)
                if len(fresh) == _AT_ONCE:
                    self._remember(fresh)
                    fresh = []
                if len(here) == PART:
                    self._write(part, here)
                    part, here = part + 1, []
                yield row
        self._remember(fresh)

    def parts(self) -> list[Path]:
        """Write the Parquet files that are not there or not full; return all of them."""
        rows = self.rows()
        return [
            self._write(start // PART, rows[start : start + PART])
            for start in range(0, len(rows), PART)
        ]

    def _write(self, part: int, rows: list[dict[str, Any]]) -> Path:
        """Write one Parquet file unless it holds as many files already."""
        path = self.folder / f"findings-{part + 1:04d}.parquet"
        if path.is_file() and pl.read_parquet_metadata(path).get("files") == str(len(rows)):
            return path
        flat = [
            {"file": row["file"], "truck": row["truck"], "began": row["began"],
             **{k: f[k] for k in ("code", "outcome", "quantity", "value", "unit", "sentence")}}
            for row in rows for f in row["findings"]
        ]  # fmt: skip
        unfinished = path.with_suffix(".part")
        pl.DataFrame(flat, schema=_COLUMNS).write_parquet(
            unfinished, metadata={"files": str(len(rows))}
        )
        unfinished.replace(path)
        return path

    def latest(self) -> list[dict[str, Any]]:
        """Return one row a file, the last one written; with a memory, of every file it knows."""
        rows = self.memory.screened() if self.memory is not None else []
        return list({row.get("place", row["id"]): row for row in (*rows, *self.rows())}.values())

    def _remember(self, rows: Iterable[dict[str, Any]]) -> None:
        if self.memory is not None:
            self.memory.keep_screened({r["place"]: (r["id"], r) for r in rows if _over(r)})


def row_of(one: Screened, key: bytes) -> dict[str, Any]:
    """Return a screened file as the JSON row that is kept: what names a truck is hidden.

    Args:
        one: the file.
        key: tells two hidden folders apart.
    """
    folder = Path(one.file).resolve().parent.name
    shown = hide(folder)
    if shown != folder:
        shown += f" ({hmac.new(key, folder.encode(), hashlib.sha256).hexdigest()[:6]})"
    return {
        "file": hide(one.file),
        "id": _id(Path(one.file)),
        "place": _place(Path(one.file)),
        "folder": shown,
        "stamp": _stamp(Path(one.file)),
        "sha256": one.sha256,
        "truck": one.truck,
        "began": one.began,
        "duration_s": one.duration_s,
        "failed": one.failed,
        "seconds": round(one.seconds, 4),
        "findings": [
            {
                "code": f.code, "sentence": hide(f.sentence), "outcome": f.outcome,
                "quantity": f.quantity, "value": f.value, "unit": f.unit,
            }
            for f in one.findings
        ],
        "codes": [asdict(c) for c in one.codes],
        "problems": hidden([asdict(p) for p in one.problems]),
    }  # fmt: skip


def _id(path: Path) -> str:
    text = f"{path.resolve()} {_stamp(path)}"
    return hashlib.sha256(text.encode()).hexdigest()[:24]


def _place(path: Path) -> str:
    """Return what stays when the content of a file changes."""
    return hashlib.sha256(str(path.resolve()).encode()).hexdigest()[:24]


def _over(row: dict[str, Any]) -> bool:
    """Say whether a file was looked at to the end."""
    return bool(not row["failed"] and row["stamp"])


def _stamp(path: Path) -> str:
    """Return what changes when a file does."""
    try:
        stat = path.stat()
    except OSError:
        return ""
    return f"{stat.st_size}-{stat.st_mtime_ns}"
