"""Doors: the firm's memory."""
