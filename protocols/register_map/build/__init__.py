"""From checked entries of a map to its models: numbers first, then whole values."""
