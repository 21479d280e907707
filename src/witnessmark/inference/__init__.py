"""From findings to odds, with the why of every finding."""
