"""Figures from an archive: coverage, statistics, periods, demand, corrections. See docs/review.md.

Importing this loads no library for tables: pandas, duckdb and pyarrow come with the first question.
"""
