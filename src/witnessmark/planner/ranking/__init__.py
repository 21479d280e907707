"""Priced moves and the expected cost to a proven cure."""
