"""Frozen records that every room shares. No input, no output, no printing."""
