"""The loop of the mould: its thermal model, what is seen of it, and the duties that follow."""
