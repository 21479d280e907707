"""Ranked next steps and the quote."""
