"""Sentences: made here, from ids, fields and numbers, for all who show them to a person."""
