"""From files to recordings."""
