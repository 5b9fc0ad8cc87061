"""How a recording stands, asked from beside it: coverage, line errors, clock, disk, the meter's memory."""
