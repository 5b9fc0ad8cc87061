"""Checks of built values: what a type can hold, what goes together, where values lie among each other."""
