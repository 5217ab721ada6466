"""Exports and pictures of parts."""
