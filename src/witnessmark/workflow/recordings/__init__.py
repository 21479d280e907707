"""Recordings of a case and of the road: taken in, looked into, drawn."""
