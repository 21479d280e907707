"""Weighted draws of the fuel supply circuit: prior, table, posterior."""
