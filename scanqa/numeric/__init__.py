"""Numerics that know no scanner: plain functions on arrays, numpy and scipy only."""
