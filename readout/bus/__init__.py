"""The line: one port, one request at a time, and for each request one outcome."""
