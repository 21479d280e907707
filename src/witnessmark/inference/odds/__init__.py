"""Odds as every face shows them: the statement, the why, and what would change them."""
