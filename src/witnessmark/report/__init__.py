"""Pages on paper."""
