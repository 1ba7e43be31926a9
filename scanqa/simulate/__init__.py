"""A scanner with known truth: it stands beside the readers and imports no measure."""
