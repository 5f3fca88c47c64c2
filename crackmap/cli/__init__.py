"""The command line: each command parses, calls the stages and reports; it decides nothing."""
