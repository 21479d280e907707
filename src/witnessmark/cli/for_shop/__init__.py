"""Commands about a shop."""
