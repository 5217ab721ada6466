"""The dashboard: a viewer of one press in a terminal."""
