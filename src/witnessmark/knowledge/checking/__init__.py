"""Checking what a pack says: ids that exist, numbers that can be, stops that can be lifted."""
