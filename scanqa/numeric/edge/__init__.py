"""A slanted edge in a window of pixels: where it lies, how blurred, how rough, how far shifted.

`sfr` is the front: the response of one edge (ISO 12233) by a fit to the unbinned pixels. Its steps
are `find` (by `fit`, the place; `clip`, what the end of the scale takes away), `solve` (with
`fine_profile`, the shape) and `transform` (the response and its uncertainty); `rough` tells the
edge's own roughness, `shift` how far colours lie apart. What cannot be measured is a `Reason`.
"""
