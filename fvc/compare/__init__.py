"""What differs between two readings of a formula, and between all of them."""
