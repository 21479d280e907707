"""One family of causes: prior, likelihoods, and the exact belief over every set of causes."""
