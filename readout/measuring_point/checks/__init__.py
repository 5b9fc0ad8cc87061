"""Checks across keys of a point file, each told at its place; cheap enough to run before every poll."""
