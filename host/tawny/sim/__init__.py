"""A simulated board, mould and hand behind the same bytes as the real ones."""
