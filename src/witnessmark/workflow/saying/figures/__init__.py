"""Figures of a line: whose they are, at which point, and the readings they make."""
