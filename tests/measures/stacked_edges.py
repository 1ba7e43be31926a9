"""Edges of known response one below the other, as a scan that is placed where it truly lies."""

import numpy as np

from scanqa.model import MM_PER_INCH, Edge, Linear, Piece, Placement
from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview

REACH_MM = 1.7


def placed(made, *, dpi, kinds=None, name="wren.tif"):
    """Scenes (`synthetic_edge`, `laser_edge`) of one width as a 16-bit scan with a linear curve.

    A scene's pixels are (rows, columns) of light, or (rows, columns, 3); its line runs down.
    """
    kinds = kinds or ["printed"] * len(made)
    mm = MM_PER_INCH / dpi
    strips, edges, row = [], [], 0
    for n, (scene, kind) in enumerate(zip(made, kinds, strict=True)):
        ends = [((x + 0.5) * mm, (y + row + 0.5) * mm) for x, y in scene.line]
        edges.append(Edge(f"edge-{n}", ends[0], ends[1], REACH_MM, kind))
        strips.append(scene.pixels)
        row += scene.pixels.shape[0]
    light = np.clip(np.concatenate(strips), 0, 1)
    scan = ArrayScan(np.rint(light * 65535).astype(np.uint16), name=name, dpi=(dpi, dpi))
    straight = np.linspace(0, 1, 65536, dtype=np.float32)[np.newaxis]
    return Placement(
        scan=scan,
        overview=overview(scan),
        light=Linear(np.repeat(straight, scan.channels, axis=0), "stated curve"),
        role="bed-sheet",
        dpi=(dpi, dpi),
        dpi_source="file",
        piece=Piece("sheet", (), (), tuple(edges)),
        to_px=np.array([[1 / mm, 0, -0.5], [0, 1 / mm, -0.5]]),
    )
