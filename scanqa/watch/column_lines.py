"""What each sensor column of a page is off its neighbours, in per cent, robust over print.

Bare samples of each row against the mean of the bare ones up to 12 columns to either side, clipped;
their mean in 12 bands along travel; of each column's bands the highest and the lowest quarter go;
less the running median. A plain median of a column is useless: one step of 8 bits is 1 % of light.

Columns with little bare paper (rules, edges, holes), and some beside them, are not judged (NaN).
Where a strong line was taken off (`bare_paper`), it is put back.

Besides, the same of the first and of the last rows of the page, its margins: a line of dirt runs to
both ends, printed rules seldom do.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import cv2
import numpy as np

from scanqa.model import Array
from scanqa.numeric.medians import running_median
from scanqa.watch.bare_paper import LOG_STEP, NEIGHBOURS, BarePaper

ROWS = 8  # put together: their mean takes the place of each
CLIP = 1.33  # of the deviation that is print
BANDS, DROPPED = 12, 3  # bands along travel; of the highest and of the lowest that go
FEWEST_ROWS = 12  # bare rows for a band of a column to count
FEWEST_BANDS = 7
LEAST_BARE = 0.25  # of the usual share of bare rows
BESIDE = 20  # columns beside one with too little bare paper
END_SHARE = 0.03  # of the rows, at each end, once the page has begun: 9 mm of A4
BEGUN = 0.5  # share of bare columns in a row that belongs to the page's margin
PERCENT = 100.0
TRIMMED = 1.11  # standard error of a mean trimmed by a quarter at each end, of a plain mean's


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """Columns of one page, in per cent of light; NaN where not judged.

    Attributes
    ----------
    off : (columns,)
        Against the neighbours.
    error : (columns,)
        Standard error of `off`.
    ends, ends_error : (columns,)
        The same of the first and last rows of the page.
    """

    off: Array
    error: Array
    ends: Array
    ends_error: Array


def columns_of(paper: BarePaper) -> Columns:
    """Measure the columns of a page; its deviations are used up, for pages are large."""
    rows = len(paper.bare) // ROWS
    known = paper.bare[: rows * ROWS]
    used = paper.deviation[: rows * ROWS]
    most = round(CLIP * paper.limit / LOG_STEP)
    np.clip(used, -most, most, out=used)
    np.multiply(used, known, out=used)
    row: Array = (LOG_STEP * _rows(used)).astype(np.float32)
    bare: Array = _rows(known).astype(np.float32)
    size = (2 * NEIGHBOURS + 1, 1)
    sums: Array = cv2.boxFilter(row, -1, size, None, normalize=False)
    counts: Array = cv2.boxFilter(bare, -1, size, None, normalize=False)
    sums /= np.maximum(counts, 1, out=counts)
    sums *= bare
    row -= sums
    bounds = np.linspace(0, rows, BANDS + 1).astype(int)
    totals = np.stack([_sum(row[a:b]) for a, b in itertools.pairwise(bounds)])
    numbers = np.stack([_sum(bare[a:b]) for a, b in itertools.pairwise(bounds)])
    off, pooled = _trimmed(totals, numbers)
    number = numbers.sum(axis=0)
    enough, judged = _judged(number)
    # What a 3 % step of the neighbours' mean leaves is smooth: the running median takes it away. It
    # reaches beyond the columns that are judged, for of one side alone it would leave a slope.
    off = np.where(enough, off, np.nan)
    off = off - running_median(off, NEIGHBOURS) + paper.strong
    usual = max(float(np.median(number[judged])) if judged.any() else 1.0, 1.0)
    error = pooled * np.sqrt(usual / np.maximum(number, 1))
    ends, ends_number = _ends(row, bare)
    one = pooled * np.sqrt(usual)  # of a single row, as far as rows are alike
    ends_error = one / np.sqrt(np.maximum(ends_number, 1))
    ends_enough = enough & (ends_number >= FEWEST_ROWS)
    known = judged & ends_enough
    ends = np.where(ends_enough, ends, np.nan)
    ends = ends - running_median(ends, NEIGHBOURS) + paper.strong
    blank = np.float32(np.nan)
    return Columns(
        _percent(np.where(judged, off, blank)),
        _percent(np.where(judged, error, blank)),
        _percent(np.where(known, ends, blank)),
        _percent(np.where(known, ends_error, blank)),
    )


def _rows(picture: Array) -> Array:
    """Sums of `ROWS` rows each; those of clipped deviations do not leave their type."""
    parts = picture.reshape(len(picture) // ROWS, ROWS, picture.shape[1])
    return np.asarray(parts.sum(axis=1, dtype=picture.dtype))


def _sum(rows: Array) -> Array:
    return np.asarray(cv2.reduce(rows, 0, cv2.REDUCE_SUM, dtype=cv2.CV_64F)[0])


def _percent(values: Array) -> Array:
    return np.asarray(PERCENT * values, np.float32)


def _trimmed(totals: Array, numbers: Array) -> tuple[Array, float]:
    """Trimmed mean of the bands of each column, and its usual standard error."""
    enough = numbers >= FEWEST_ROWS
    means = np.where(enough, totals / np.maximum(numbers, 1), np.inf)
    means.sort(axis=0)  # bands that do not count come last
    count = enough.sum(axis=0)
    cut = np.minimum(count * DROPPED // BANDS, DROPPED)
    at = np.arange(BANDS)[:, None]
    kept = (at >= cut) & (at < count - cut)
    number = np.maximum(kept.sum(axis=0), 1)
    values = np.where(kept, means, 0.0)
    off = values.sum(axis=0) / number
    whole = count == BANDS
    spread = 0.0
    if whole.any():
        # The middle half of Gaussian values spans 1.349 standard deviations.
        quarter = means[:, whole]
        spread = float(np.median(quarter[BANDS - DROPPED - 1] - quarter[DROPPED])) / 1.349 * 1.15
    return np.where(count >= FEWEST_BANDS, off, np.nan), TRIMMED * spread / np.sqrt(BANDS)


def _judged(number: Array) -> tuple[Array, Array]:
    """Columns with enough bare rows, and those of them that have no column without them near."""
    usual = float(np.percentile(number, 90))
    lacking = (number < LEAST_BARE * usual) | (number < FEWEST_ROWS * FEWEST_BANDS)
    lacking[[0, -1]] = True
    near = np.ones(2 * BESIDE + 1)
    return ~lacking, np.convolve(lacking.astype(float), near, mode="same") < 0.5


def _ends(row: Array, bare: Array) -> tuple[Array, Array]:
    """Mean of the first and last rows of the page in each column, and their number."""
    height = len(row)
    share = bare.mean(axis=1) / ROWS
    on = np.flatnonzero(share > BEGUN)
    if len(on) == 0:
        return np.zeros(row.shape[1]), np.zeros(row.shape[1])
    first, last = int(on[0]), int(on[-1]) + 1
    reach = max(round(END_SHARE * height), 2)
    total, number = np.zeros(row.shape[1]), np.zeros(row.shape[1])
    for part in (slice(first, first + reach), slice(max(last - reach, 0), last)):
        total += _sum(row[part])
        number += _sum(bare[part])
    return total / np.maximum(number, 1), number
