"""Velocity, Reynolds number, velocity profile, and whether the meter's range fits the expected flows."""
