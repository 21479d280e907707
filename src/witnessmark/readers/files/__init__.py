"""Files as bytes: digest, unpacking, pieces, limits, and what is kept beside them."""
