"""What light that spreads in paper takes from an edge on it, by kind of paper (a table of walks).

The table is ``paper_spread.toml`` (made by `scanqa.simulate.paper_table`). How far light spreads in
a paper is told by kp, one over the frequency at which the paper's own response is one half: about
0.05 mm for coated and 0.3 mm for uncoated papers (from memory; the index is that of J. S. Arney et
al., J. Imaging Sci. Technol. 47(4)). 22 papers of one kp differ in shape (Coppel, Neuman, Edström,
Opt. Express 19, 25181, 2011), so the ranges are wide.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from scanqa.catalogue import PaperKind

EdgeOnPaper = Literal["ink", "cut"]
KP_MM: dict[PaperKind | None, tuple[float, float]] = {
    "office": (0.03, 0.40),
    "coated": (0.0, 0.09),
    "photo": (0.0, 0.07),
    None: (0.0, 0.40),
}
"""Least and most spread of each kind, and where it is not said.

Wider than what is published of kp, since papers of one kp differ in shape: an exponential spread
of 0.1 mm takes as little from SFR50 as the table's of 0.05 mm (tests/measures/test_edge_cards.py).
"""


@dataclass(frozen=True, slots=True, eq=False)
class _Table:
    frequency_cy_mm: NDArray[np.float64]
    kp_mm: NDArray[np.float64]
    kept: dict[str, NDArray[np.float64]]  # of each edge: (papers, frequencies)


@cache
def _table() -> _Table:
    text = (resources.files("scanqa.catalogue") / "paper_spread.toml").read_text("utf-8")
    data: dict[str, Any] = tomllib.loads(text)
    rows = data["paper"]
    return _Table(
        np.array(data["frequency_cy_mm"]),
        np.array([row["kp_mm"] for row in rows]),
        {edge: np.array([row[edge] for row in rows]) for edge in ("ink", "cut")},
    )


def kept_by_paper(
    frequency_cy_mm: NDArray[np.float64], kp_mm: float, edge: EdgeOnPaper
) -> NDArray[np.float64]:
    """Share of contrast that an ideal edge keeps on a paper of this spread.

    Parameters
    ----------
    frequency_cy_mm : (n,)
        Beyond the table's last frequency its last value holds.
    kp_mm : float
        Within the table's range, linear between its papers; none at all is 0.
    edge : str
        ``ink`` on the paper, or the paper ``cut``.
    """
    table = _table()
    papers = np.concatenate(([0.0], table.kp_mm))
    kept = np.vstack((np.ones_like(table.frequency_cy_mm), table.kept[edge]))
    kp = float(np.clip(kp_mm, 0.0, papers[-1]))
    at = int(np.clip(np.searchsorted(papers, kp) - 1, 0, len(papers) - 2))
    share = (kp - papers[at]) / (papers[at + 1] - papers[at])
    row = (1 - share) * kept[at] + share * kept[at + 1]
    return np.asarray(np.interp(frequency_cy_mm, table.frequency_cy_mm, row))
