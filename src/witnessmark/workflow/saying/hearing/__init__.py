"""A line cut into words, figures and clauses, the trade's short forms made plain."""
