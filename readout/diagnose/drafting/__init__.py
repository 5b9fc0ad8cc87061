"""A register map drafted from a manual's table, with a question for everything that the table leaves open."""
