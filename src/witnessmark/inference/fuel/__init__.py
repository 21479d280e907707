"""The fuel supply model at work on a case."""
