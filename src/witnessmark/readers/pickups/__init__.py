"""Captures of pickups: sound files, teeth and wheels."""
