"""The estimate and what was agreed to."""
