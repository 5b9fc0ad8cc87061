"""The measuring point: the file that says where a meter is fitted, on which line, and what holds there."""
