"""The pure heart: models, limits, the wire codec and the step. No clock, disk, wire or thread."""
