"""Readings against their bands and against each other."""
