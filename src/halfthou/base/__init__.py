"""Ground: what everything needs."""
