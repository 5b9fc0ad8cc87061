"""The bore of a pipe: from what was measured or read off, with the uncertainty that this deserves."""
