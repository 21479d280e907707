"""Commands about one case."""
