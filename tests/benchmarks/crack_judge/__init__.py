"""Fit the judge of cracks on made pictures; no photograph takes part."""
