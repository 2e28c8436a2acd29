"""Laws of number."""
