"""Files to scans: pixels in strips and windows, resolution, profile, linear light."""

SUFFIXES = frozenset({".tif", ".tiff", ".png", ".jpg", ".jpeg"})  # of files that hold a scan
