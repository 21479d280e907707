"""Knowledge packs: schema, loader, data."""
