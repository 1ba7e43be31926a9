"""Qualifications over time: the store, the series read from it, health and comparison."""
