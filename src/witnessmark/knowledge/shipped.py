"""Which packs are shipped."""

from __future__ import annotations

from pathlib import Path

__all__ = ["SHIPPED", "shipped_packs"]

#: Where the shipped packs lie.
SHIPPED = Path(__file__).parent / "packs"
#: What is shared comes before the families, what joins them after them.
_ORDER = {"cautions": 0, "common": 0, "links": 2, "codes": 2, "whole_truck": 2}


def shipped_packs() -> list[Path]:
    """Return the files of the shipped packs: the shared ones, the families, what joins them."""
    return sorted(SHIPPED.glob("*.toml"), key=lambda p: (_ORDER.get(p.stem, 1), p.stem))
