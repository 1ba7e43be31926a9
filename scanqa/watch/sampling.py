"""How many pages of a lot are looked at by eye, and from how many faulty ones it is rejected.

Chart of the Biodiversity Heritage Library after ANSI tables, as quoted (READ-2) in
``published-values.md`` section 12. Smaller lots than it has are looked at whole, and larger jobs
are divided (ours).
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Sequence

import numpy as np

from scanqa.model.job_record import Lot

LARGEST = 500
CHART = (  # pages up to, sample, rejected from so many faulty pages on
    (15, 3, 1),
    (25, 5, 1),
    (50, 8, 1),
    (90, 13, 2),
    (150, 20, 3),
    (280, 32, 4),
    (500, 50, 5),
)
SMALLEST = 9


def sample_of(pages: int) -> tuple[int, int]:
    """Size of the sample of a lot of so many pages, and from how many faulty ones it is rejected.

    Raises
    ------
    ValueError
        For none, or for more than `LARGEST`.
    """
    if not 1 <= pages <= LARGEST:
        raise ValueError(f"a lot has 1 to {LARGEST} pages, not {pages}")
    if pages < SMALLEST:
        return pages, 1
    return next((sample, reject) for most, sample, reject in CHART if pages <= most)


def lots(files: Sequence[tuple[str, str]]) -> tuple[Lot, ...]:
    """Lots of a job, as even as can be, and the sample of each.

    Parameters
    ----------
    files : sequence of (name, sha256)
        Pages in order.
    """
    if not files:
        return ()
    count = -(-len(files) // LARGEST)
    bounds = np.linspace(0, len(files), count + 1).round().astype(int).tolist()
    made = []
    for number, (first, last) in enumerate(itertools.pairwise(bounds), 1):
        part = files[first:last]
        size, reject = sample_of(len(part))
        seed = hashlib.sha256("".join(sha for _, sha in part).encode()).digest()
        rng = np.random.default_rng(int.from_bytes(seed[:8], "big"))
        drawn = sorted(rng.choice(len(part), size, replace=False).tolist())
        names = tuple(part[at][0] for at in drawn)
        made.append(Lot(number, part[0][0], part[-1][0], len(part), names, reject))
    return tuple(made)
