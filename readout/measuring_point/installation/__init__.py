"""How a probe sits in its pipe: depth, mark on the stem, straight runs, force, and what to beware of."""
