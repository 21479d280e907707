"""Keeping a shop's book: backup, restore, check, erase, move."""
