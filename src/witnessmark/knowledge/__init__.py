"""Knowledge packs: schema, loader, data."""

from witnessmark.knowledge.records import Knowledge

__all__ = ["Knowledge"]
