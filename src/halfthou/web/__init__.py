"""The local web page (not built yet)."""
