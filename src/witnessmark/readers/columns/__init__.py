"""What a column means: heading words, quantities, units and what was remembered."""
