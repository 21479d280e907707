"""The version, alone: every room may ask for it."""

__all__ = ["__version__"]

__version__ = "0.1.0"
