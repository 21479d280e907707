"""Reading what was posted: fields and files of a form, within limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import BinaryIO

from starlette.datastructures import UploadFile
from starlette.requests import Request

__all__ = ["Posted", "SentFile", "posted"]


@dataclass(frozen=True, slots=True)
class SentFile:
    """A file that came with a form. Its name is for people, never a path."""

    name: str
    stream: BinaryIO
    size: int


@dataclass(frozen=True, slots=True)
class Posted:
    """A form: every field's texts, every field's files."""

    fields: dict[str, list[str]]
    files: dict[str, list[SentFile]]

    def one(self, name: str) -> str:
        """Return one field's text without the spaces around it."""
        return (self.fields.get(name) or [""])[-1].strip()


async def posted(request: Request, *, files: int = 0) -> Posted:
    """Read the form of a request."""
    form = await request.form(max_files=files, max_fields=400)
    fields: dict[str, list[str]] = {}
    sent: dict[str, list[SentFile]] = {}
    for name, item in form.multi_items():
        if isinstance(item, UploadFile):
            if item.filename:
                file = SentFile(_file_name(item.filename), item.file, item.size or 0)
                sent.setdefault(name, []).append(file)
        else:
            fields.setdefault(name, []).append(item.replace("\r\n", "\n"))
    return Posted(fields, sent)


def _file_name(text: str) -> str:
    last = text.replace("\\", "/").rsplit("/", 1)[-1]
    kept = "".join(c if c.isprintable() else "_" for c in last).strip(". ")
    return kept[:200] or "file"
