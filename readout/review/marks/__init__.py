"""Named intervals: leak tests by three methods, and before and after side by side."""
