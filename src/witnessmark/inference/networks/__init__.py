"""Noisy-OR networks of any size, exact."""
