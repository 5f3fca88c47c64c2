"""Dividing the pockets of a slab over set-ups on a bed that is smaller than the slab."""
