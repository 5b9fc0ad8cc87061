"""What lies in a simulated memory: fields and records as words, the places they lie in, and the truth."""
