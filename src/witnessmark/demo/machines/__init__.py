"""Invented machines that the recordings and readings of the demo come from."""
