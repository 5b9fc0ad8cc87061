"""Closed journal stretches become values: raw words in, a table with readings, flags and metadata out."""
