"""Orders over a sweep: which lines can turn up, which are there, what stays at one frequency."""
