"""Controller and process record for a heated press in a small workshop."""

__version__ = "0.1.0"
