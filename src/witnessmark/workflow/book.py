"""The knowledge a shop works with: the packs that come along and the shop's own."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from witnessmark.errors import InputRefused
from witnessmark.knowledge import Cause, Condition, Family, Knowledge, Test, load_knowledge
from witnessmark.workflow.shop import Shop

__all__ = [
    "Cause",
    "Condition",
    "Family",
    "Knowledge",
    "OwnWord",
    "Proven",
    "Test",
    "clues_of",
    "knowledge_of",
    "own_words",
    "pack_files",
    "save_own_words",
    "shop_numbers",
]


@dataclass(frozen=True, slots=True)
class OwnWord:
    """A share that the owner has changed for this shop, with the reason."""

    share: float
    why: str
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class Proven:
    """How often a cause was proven in this shop, and how long its repair took on average."""

    proven: int
    minutes: float | None


def pack_files(shop: Shop) -> tuple[Path, ...]:
    """Return the shop's own packs, in the order of their names."""
    folder = shop.folder / "packs"
    return tuple(sorted(folder.glob("*.toml"))) if folder.is_dir() else ()


def knowledge_of(shop: Shop) -> Knowledge:
    """Return everything the packs say in this shop."""
    return load_knowledge(pack_files(shop))


def clues_of(knowledge: Knowledge, families: tuple[str, ...]) -> list[tuple[Condition, list[Cause]]]:
    """Return the clues that bear on these families, the most telling first.

    A clue that speaks of one part comes with the causes whose part it may be.
    """
    found: dict[str, list[Cause]] = {}
    weight: dict[str, float] = {}
    for family in (knowledge.families[f] for f in families if f in knowledge.families):
        for cause in family.causes:
            for clue, factor in cause.odds_multipliers.items():
                if clue in knowledge.conditions:
                    found.setdefault(clue, []).append(cause)
                    strength = max(factor, 1 / factor) * cause.prior if factor > 0 else cause.prior
                    weight[clue] = weight.get(clue, 0.0) + strength
    order = sorted(found, key=lambda clue: -weight[clue])
    return [(knowledge.conditions[clue], found[clue]) for clue in order]


def own_words(shop: Shop, family: str) -> dict[str, OwnWord]:
    """Return cause id -> what the owner has changed."""
    stored: dict[str, Any] = shop.casebook.setting(f"own:{family}") or {}
    return {cause: OwnWord(**row) for cause, row in stored.items()}


def shop_numbers(shop: Shop, family: str) -> dict[str, Any]:
    """Return what the shop's own proven cases say of a family: cause id -> Proven, and a total."""
    return {"total": 0}


def save_own_words(
    shop: Shop, family: str, cause: str, *, share: str, why: str, by: str
) -> None:
    """Change a cause's share for this shop.

    Raises:
        InputRefused: no such cause, no percentage, or no reason.
    """
