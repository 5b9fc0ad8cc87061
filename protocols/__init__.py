"""What is on the wire and what it means. Pure: bytes and numbers in, values out; no port, clock or file."""
