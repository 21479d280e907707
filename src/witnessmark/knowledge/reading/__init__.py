"""Reading one pack file: bytes to parts, faults with path and line."""
