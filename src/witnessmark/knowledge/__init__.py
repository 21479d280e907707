"""Knowledge packs: schema, loader, data."""

from witnessmark.knowledge.loader import check_pack, load_knowledge, shipped_packs
from witnessmark.knowledge.records import (
    AccessGroup,
    Band,
    Cause,
    Condition,
    Family,
    Knowledge,
    Link,
    PackCase,
    Source,
    Test,
    Together,
    Trap,
)

__all__ = [
    "AccessGroup",
    "Band",
    "Cause",
    "Condition",
    "Family",
    "Knowledge",
    "Link",
    "PackCase",
    "Source",
    "Test",
    "Together",
    "Trap",
    "check_pack",
    "load_knowledge",
    "shipped_packs",
]
