"""A paper as PDF. The words go in as data, never as markup, so they cannot do anything."""

from __future__ import annotations

import json
import tempfile
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any
from unicodedata import category

import typst

from witnessmark.report.paper import Block, Paper, Picture, TableBlock
from witnessmark.report.pictures.canvas import printed

__all__ = ["can_be_printed", "paper_pdf"]


def paper_pdf(paper: Paper) -> bytes:
    """Return the paper as PDF; the same paper gives the same bytes."""
    with tempfile.TemporaryDirectory(prefix="witnessmark-paper-") as folder:
        place = Path(folder)
        blocks = [_block(block, number, place) for number, block in enumerate(paper.blocks)]
        document = {"title": paper.title, "shop": paper.shop, "facts": paper.facts,
                    "blocks": blocks, "language": paper.language, "head": paper.head}  # fmt: skip
        (place / "paper.json").write_text(json.dumps(document), encoding="utf-8")
        source = files("witnessmark.report") / "templates" / "paper.typ"
        (place / "paper.typ").write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
        made = typst.compile(str(place / "paper.typ"), root=folder, ignore_system_fonts=True)
    assert isinstance(made, bytes)  # noqa: S101
    return made


def _block(block: Block, number: int, folder: Path) -> dict[str, Any]:
    found = {"is": type(block).__name__, **asdict(block)}
    if isinstance(block, Picture):
        name = f"picture{number}.svg"
        (folder / name).write_text(printed(block.svg), encoding="utf-8")
        found["svg"] = name
    if isinstance(block, TableBlock):
        found["columns"] = _columns(block)
    return {key: can_be_printed(value) for key, value in found.items()}


def _columns(table: TableBlock) -> list[float]:
    """Return the shares of the width; 0 for a column as wide as what stands in it."""
    short = table.short()
    shares = [
        0.0 if n in short else float(min(length, 70)) ** 0.7
        for n, length in enumerate(table.longest())
    ]
    return shares if any(shares) else [*shares[:-1], 1.0]


def can_be_printed(value: Any) -> Any:
    """Take out characters that no printer can set; everything else stays as it was typed."""
    if isinstance(value, str):
        return "".join(c if _can_be_set(c) else "\ufffd" for c in value)
    if isinstance(value, dict):
        return {key: can_be_printed(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [can_be_printed(item) for item in value]
    return value


def _can_be_set(character: str) -> bool:
    return character.isprintable() or character in "\n\t" or category(character) == "Zs"
