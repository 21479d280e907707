"""Trouble codes: what their numbers mean, whatever a pack makes of them."""
