"""Which families a driver's words may be about."""
