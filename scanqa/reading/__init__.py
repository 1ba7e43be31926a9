"""What lies between a located scan and a measure: windows, crops, tiles, patches, profiles, sides.

These modules know a `Placement` but no quantity: they say which pixels, a measure says what for.
"""
