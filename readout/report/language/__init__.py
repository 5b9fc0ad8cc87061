"""English and German: sentences, numbers, moments."""
