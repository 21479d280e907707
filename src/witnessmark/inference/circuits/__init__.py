"""Circuits that readings decide: what all of them share, and one module of knowledge for each."""
