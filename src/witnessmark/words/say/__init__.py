"""The sentences, one module for each room whose results they say."""
