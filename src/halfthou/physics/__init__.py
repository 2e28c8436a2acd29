"""Laws of force, heat and motion."""
