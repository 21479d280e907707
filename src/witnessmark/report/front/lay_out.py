"""The one page as HTML and as PDF: tagged, and still to be read when it is printed grey."""

from __future__ import annotations

import base64
import json
import re
import tempfile
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import typst
from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup

from witnessmark.report.as_pdf import can_be_printed
from witnessmark.report.front.one_page import OnePage, PlacedPhoto
from witnessmark.report.pictures.canvas import printed

__all__ = ["one_page_html", "one_page_pdf"]

#: Size of the letters [pt] and height of a photo [mm], tried until the words fit on one page.
_SIZES = ((11.0, 52.0), (10.2, 42.0), (9.4, 36.0), (8.8, 30.0), (8.2, 24.0))
_PAGE = re.compile(rb"/Type\s*/Page(?!s)")
_SUFFIX = {"image/jpeg": "jpg", "image/png": "png", "image/webp": "webp"}


def one_page_html(page: OnePage) -> str:
    """Return the page as one HTML document: nothing from elsewhere, every word escaped."""
    return _template().render(page=page)


def one_page_pdf(page: OnePage) -> bytes:
    """Return the page as tagged PDF, on one sheet where that can still be read."""
    with tempfile.TemporaryDirectory(prefix="witnessmark-page-") as folder:
        place = Path(folder)
        data = _data(page, place)
        template = (files("witnessmark.report") / "templates" / "one_page.typ").read_text("utf-8")
        (place / "page.typ").write_text(template, encoding="utf-8")
        made = b""
        for size, photo in _SIZES:
            told = json.dumps({**data, "size": size, "photo": photo})
            (place / "page.json").write_text(told, encoding="utf-8")
            found = typst.compile(str(place / "page.typ"), root=folder, ignore_system_fonts=True)
            assert isinstance(found, bytes)  # noqa: S101
            made = found
            if _pages(made) == 1:
                break
    return made


def _pages(made: bytes) -> int:
    return len(_PAGE.findall(made))


def _data(page: OnePage, place: Path) -> dict[str, Any]:
    picture = ""
    if page.picture:
        picture = "picture.svg"
        (place / picture).write_text(printed(page.picture), encoding="utf-8")
    photos = []
    for number, photo in enumerate(page.photos):
        if photo.kind in _SUFFIX:
            name = f"photo{number}.{_SUFFIX[photo.kind]}"
            (place / name).write_bytes(photo.content)
            photos.append({"file": name, "words": photo.words})
    return can_be_printed({  # type: ignore[no-any-return]
        "title": page.title, "under": page.under, "shop": page.shop.name,
        "shop_line": page.shop_line, "facts": page.facts, "stops": page.stops,
        "heads": page.heads, "told": page.told, "found": page.found, "did": page.did,
        "know": page.know, "unproven": page.unproven,
        "later": [{"what": r.what, "when": r.when} for r in page.later],
        "picture": picture, "picture_words": page.picture_words, "photos": photos,
        "bill": [{"what": r.what, "price": r.price} for r in page.bill],
        "total": page.total, "notes": page.notes, "sign": page.sign, "language": page.language,
    })  # fmt: skip


@cache
def _template() -> Template:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["drawing"] = Markup  # noqa: RUF100
    environment.filters["inline"] = _inline
    source = files("witnessmark.report") / "templates" / "one_page.html"
    return environment.from_string(source.read_text(encoding="utf-8"))


def _inline(photo: PlacedPhoto) -> str:
    return f"data:{photo.kind};base64,{base64.b64encode(photo.content).decode('ascii')}"
