"""From recordings and readings to findings."""
