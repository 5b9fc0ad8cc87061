"""Rows for other programs: delimited text, workbooks, Parquet. See docs/export.md."""
