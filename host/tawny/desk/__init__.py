"""The socket between the owner of a press and its viewers, both ends."""
