"""Words into values and back: one record or fifty thousand by the same code."""
