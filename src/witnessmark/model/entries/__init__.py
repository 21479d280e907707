"""Cases and entries: the only thing that is stored as truth."""
