"""What stands on the page, section by section, as frozen data."""
