"""The owner of a press: steps the core, records, talks to the board."""
