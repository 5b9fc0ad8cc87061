"""A map as a table for a colleague who has the manual: every register as printed there and as sent."""
