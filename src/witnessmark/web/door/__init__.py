"""Locks, certificate, and what was posted."""
