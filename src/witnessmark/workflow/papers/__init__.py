"""Papers and pictures of a case."""
