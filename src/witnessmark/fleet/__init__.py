"""Screening many recordings."""
