"""The Python face."""
