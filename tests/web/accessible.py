"""What axe-core finds wrong on a page."""

from __future__ import annotations

from functools import cache
from typing import Any

from axe_playwright_python.sync_playwright import Axe

#: Every rule is tried on every node; of what is right a node a rule is told, not all of them.
_TOLD = {"resultTypes": ["violations"]}


@cache
def _lens() -> Axe:
    return Axe()


def violations(page: Any) -> list[dict[str, Any]]:
    """Return what axe-core objects to on a page as it stands."""
    found: list[dict[str, Any]] = _lens().run(page, options=_TOLD).response["violations"]
    return found
