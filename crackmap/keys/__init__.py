"""Keys: shapes, fit to the router bit, sizes, checks, and what they hold."""
