"""A paper as one HTML document: nothing from elsewhere, every word escaped."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup

from witnessmark.report.paper import Block, Paper, Picture

__all__ = ["paper_html"]


def paper_html(paper: Paper) -> str:
    """Return the paper as HTML. Only our own drawings are let through as markup."""
    return _template().render(paper=paper)


@cache
def _template() -> Template:
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters["drawing"] = _drawing
    environment.tests["block"] = lambda block, name: type(block).__name__ == name
    source = files("witnessmark.report") / "templates" / "paper.html"
    return environment.from_string(source.read_text(encoding="utf-8"))


def _drawing(block: Block) -> Markup:
    assert isinstance(block, Picture)  # noqa: S101
    return Markup(block.svg)  # noqa: S704 (drawn by us; every word in it is escaped)
