"""What to measure next on a fuel supply circuit."""
