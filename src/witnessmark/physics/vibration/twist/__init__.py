"""The crankshaft's twist: tooth times, modes and damping, and single cylinders."""
