"""Words: how a number is written for a person, the same at every door and on every paper."""
