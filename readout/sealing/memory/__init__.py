"""Records of a meter's memory: their times, their rows, their files."""
