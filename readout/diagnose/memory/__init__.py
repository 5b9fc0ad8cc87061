"""A meter's memory read by a map that is still being written: which layout makes sense of what was sent."""
