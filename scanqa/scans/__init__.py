"""Files to scans: pixels in strips and windows, resolution, profile, linear light."""
