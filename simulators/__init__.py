"""Simulated meters on simulated lines: product code that stands behind the tests, the demo and rehearsals."""
