"""Ratios and long studies; `./check bench` runs them."""
