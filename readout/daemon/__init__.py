"""Keeps rounds going: a thread a line, rows into the journal, sealing, a clean end on a signal."""
