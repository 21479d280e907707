"""Knowledge packs: schema, loader, data."""

from witnessmark.knowledge.kept_packs import load_knowledge
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
from witnessmark.knowledge.shipped import shipped_packs

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
    "load_knowledge",
    "shipped_packs",
]
