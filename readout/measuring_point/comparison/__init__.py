"""How a meter is set against what its point file says, with what each difference does to the figures."""
