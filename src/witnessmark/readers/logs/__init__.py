"""Logs of a data bus, one module a format, and the recording they become."""
