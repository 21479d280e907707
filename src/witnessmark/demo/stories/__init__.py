"""The invented trucks, one story after the other."""
