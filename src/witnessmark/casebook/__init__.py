"""Storage of cases, recordings and the shop's history."""
