"""scanqa measures how good a flatbed document scanner really is.

Importing the package does no work; each room is imported where it is used.
"""

__version__ = "0.1.0"
