"""One round over a line: every block of a point's plan asked once, in order."""
