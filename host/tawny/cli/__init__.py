"""The command line: parses, composes, owns standard output and exit codes."""
