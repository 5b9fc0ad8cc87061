"""Corrections of a point file that hold from a time on: checked as the file is, and their effect."""
