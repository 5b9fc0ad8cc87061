"""Figures from clock minutes: coverage, statistics, periods, totaliser, corrections, uncertainty."""
