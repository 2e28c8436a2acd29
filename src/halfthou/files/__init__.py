"""Doors: files a person wrote, in and out."""
