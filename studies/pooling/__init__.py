"""What a pool of many shops' blurred counts is worth to one shop."""
