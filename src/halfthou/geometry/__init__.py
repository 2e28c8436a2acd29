"""Laws of shape."""
