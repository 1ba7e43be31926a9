"""A record to one self-contained page and one JSON document; it computes nothing."""
