"""Damaged input for every reader: `python -m tests.fuzz READER`; see `tests.fuzz.readers` for the list."""
