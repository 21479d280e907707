"""Readings that the model of the fuel circuit offers to take next."""
