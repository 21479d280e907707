"""Witnessmark: the diagnostic workbench of an independent heavy-duty diesel shop."""

__version__ = "0.1.0"
