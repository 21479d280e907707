"""A complaint that no pack has: the technician's own list, made a family like any other."""
