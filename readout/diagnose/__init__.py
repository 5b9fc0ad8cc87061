"""Finds meters, tests lines, and listens: what a technician does before and beside recording."""
