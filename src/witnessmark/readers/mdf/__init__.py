"""MDF 4 files: blocks, records, bus logs and decoded channels."""
