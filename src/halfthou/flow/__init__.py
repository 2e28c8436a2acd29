"""Puts the steps together, one file a question."""
