"""Commands about recordings."""
