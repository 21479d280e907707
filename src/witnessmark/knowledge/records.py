"""The records of the knowledge packs."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Knowledge:
    """Everything the packs say."""
