"""Doors: pages and pictures."""
