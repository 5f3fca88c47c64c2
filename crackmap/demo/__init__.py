"""Invented slab photographs with exact truth: for trying the tool, for tests and for training.

`random_scene` describes a photograph, `render` makes it with its truth,
`render_patch` makes a small piece with masks, `STORIES` are two jobs to try.
Nothing here is needed to measure a real photo.
"""
