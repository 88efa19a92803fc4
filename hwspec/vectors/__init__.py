"""Golden vectors and what writes them."""
