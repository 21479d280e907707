"""The fuel supply circuit in the steady state, and healthy circuits of known and unknown types."""
