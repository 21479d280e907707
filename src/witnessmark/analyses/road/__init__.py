"""The road test: which points are needed, and which were driven."""
