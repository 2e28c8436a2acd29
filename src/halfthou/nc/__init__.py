"""The program language."""
