"""A periodic inspection in a shop: begun, walked, repaired, signed, printed."""
