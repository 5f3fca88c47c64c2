"""How long the machine runs."""
