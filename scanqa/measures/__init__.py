"""One module per physical quantity, named as in the results.

Each has kernels (arrays to numbers) and one front, ``measure(placements, …) -> Results``, which
gets the placements of the role it serves. Measures do not import each other.
"""
