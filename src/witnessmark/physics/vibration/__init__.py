"""Vibration: orders of what turns, twist of the crankshaft, and what a vibration follows."""
