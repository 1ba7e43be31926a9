"""Two scanners, or one before and after, side by side."""
