"""One sending after the other: when to speak, and what to keep in mind until the next request."""
