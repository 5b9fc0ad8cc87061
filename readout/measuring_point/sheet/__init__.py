"""The sheet for the pipe: one A4 page to print, with a sketch to scale, measures and cautions."""
