"""Numbered migrations of the casebook."""
