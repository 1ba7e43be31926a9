"""Printable sheets: declarative geometry in mm, and the PDF drawn from it."""
