"""Figures, each from clock minutes: coverage, sums and statistics, periods, pressure, demand, totaliser."""
