"""The one place where the version number stands."""

__version__ = "0.1.0"
