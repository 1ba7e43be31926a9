"""All scanners of a database at once: which one needs a hand, on one budget of false calls."""
