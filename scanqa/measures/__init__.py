"""One module per physical quantity, named as in the results.

Each has kernels (arrays to numbers) and one front, ``measure(scans, told) -> Results``. `scans` are
all located scans of the roles that the family's file of the catalogue names, `told` what the user
says; what a scan cannot show is a measurement with a reason. Measures do not import each other.
"""
