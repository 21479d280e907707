"""Plain functions, arrays in, arrays out. SI units; every parameter with its [unit] and source."""
