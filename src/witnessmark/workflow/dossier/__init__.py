"""What a case comes to: evidence, odds, steps and proof, computed and put into words."""
