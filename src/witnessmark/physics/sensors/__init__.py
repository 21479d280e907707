"""How a quantity can change, how its sensor follows, and what a bad circuit makes of it."""
