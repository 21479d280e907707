"""Samples that look like readings and are none."""
