"""All scanners on one page: which one needs a hand today."""
