"""The serial line to the board: port, framing, session."""
