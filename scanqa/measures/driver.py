"""What only the driver can show: the light without calibration, the white strip, its own numbers.

*Level without calibration*: mean code of the inner half of the rows, all columns, in per cent of
the scale, as delivered (no curve: what the driver leaves out of its correction, it may leave out of
its curve); which paper lies there is a shared part of the doubt. *Darkest place*: least of the mean
profile in cells of `CELL_MM`, against its highest.

*Mark on the strip*: with black card on the glass the strip is the only bright band along the
sensor line. Along travel it is cut into quarters; each column of a quarter is held against its
neighbours, then against the same column in the other quarters. What moves with the sensor (dirt in
the light path, an element, a calibration, also one made on dirt) is the same in all four and drops
out: only what lies on the strip lies somewhere along it. Dirt that crosses all of the strip evenly
is therefore not seen. What stands out by less than the scatter allows is *at most* so much.

*Gain, offset*: what the driver reported with a blank scan, by channel.

Written from what was read of drivers; not yet tried on a real scanner. Without such scans it says
nothing.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from scanqa.model import (
    COLOURS,
    MM_PER_INCH,
    Channel,
    Measurement,
    Placement,
    Reason,
    Results,
    Shared,
    Told,
    Window,
    as_bound,
    not_measurable,
    of_role,
    with_doubt,
)
from scanqa.numeric.lightness import luma
from scanqa.numeric.medians import running_median
from scanqa.numeric.spread import sigma_about_zero
from scanqa.reading.bed_light import bed_luma

if TYPE_CHECKING:
    from scanqa.model import Floats

CELL_MM = 2.0
NEIGHBOURS_MM = 3.0  # to each side of a column
LEAST_STRIP_MM = 1.0
LIT, EVEN = 0.5, 0.8  # of the brightest row; of its own median, its darkest tenth
OF_PAPER = 0.03  # white papers differ by so much of their light (common practice, no source)
QUARTERS = 4
SEEN = 7.5  # deviations between two quarters of a column: one in 1.4 million columns by chance
NO_STRIP = Reason(
    "no-detail", "no bright band lies across the picture: lay black card on the glass"
)


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Whatever of it the scans hold; nothing if they hold none of it.

    Parameters
    ----------
    scans : sequence of Placement
        Of the roles ``uncalibrated``, ``white-strip``; a blank tells the driver's numbers.
    told : Told
        Not needed.
    """
    found: list[Measurement] = []
    for placement in of_role(scans, "uncalibrated"):
        found += _uncalibrated(placement)
    found += [_strip(placement) for placement in of_role(scans, "white-strip")]
    told_by = [p for p in of_role(scans, "blank") if p.scan.driver and p.scan.driver.numbers]
    if told_by:
        found += _numbers(told_by[0])
    return Results(tuple(found))


def _uncalibrated(placement: Placement) -> Iterator[Measurement]:
    """Mean of each channel, its scatter along travel, and the profile's darkest place."""
    overview, scan = placement.overview, placement.scan
    top = 2.0**scan.bits - 1
    rows = len(overview.row_means)
    inner = np.asarray(overview.row_means[rows // 4 : rows - rows // 4], np.float64).mean(axis=1)
    parts = np.array([part.mean(axis=0) for part in np.array_split(inner, 8) if len(part)])
    level = 100 * parts.mean(axis=0) / top
    error = 100 * parts.std(axis=0, ddof=1) / np.sqrt(len(parts)) / top if len(parts) > 1 else None
    name = "driver.level_uncalibrated"
    for at, channel in enumerate(_channels(scan.channels)):
        u = None if error is None else float(error[at])
        value = Measurement(name, float(level[at]), u, scan=scan.name, channel=channel)
        yield with_doubt(value, Shared("paper", "blank", OF_PAPER * float(level[at])))
    profile = np.asarray(overview.column_means, np.float64).mean(axis=(0, 2))
    wide = max(round(CELL_MM * placement.dpi[0] / MM_PER_INCH), 1)
    cells = profile[: len(profile) // wide * wide].reshape(-1, wide).mean(axis=1)
    if len(cells) < 4 or cells.max() <= 0:
        why = Reason("too-dark", "the scan is black, or too small")
        yield not_measurable("driver.darkest_uncalibrated", why, scan=scan.name)
        return
    inside = cells[1:-1]  # the outermost may lie under the frame
    share = 100 * float(inside.min() / inside.max())
    at_mm = (float((int(inside.argmin()) + 1.5) * wide * MM_PER_INCH / placement.dpi[0]), 0.0)
    yield Measurement(
        "driver.darkest_uncalibrated", share, 0.1, scan=scan.name, at_mm=at_mm
    )  # a tenth of a per cent: what unevenness of paper leaves of a mean over the whole bed


def _channels(count: int) -> tuple[Channel | None, ...]:
    return COLOURS if count == 3 else (None,)


def _strip(placement: Placement) -> Measurement:
    """The column in which the strip differs most along travel, and where in it."""
    name, scan = "driver.strip_mark", placement.scan
    rows = _strip_rows(placement)
    if rows is None:
        return not_measurable(name, NO_STRIP, scan=scan.name)
    window = Window(rows[0], 0, rows[1] - rows[0], scan.width_px)
    light = placement.light.light(scan.window(window)).astype(np.float64)
    px_per_mm = tuple(dpi / MM_PER_INCH for dpi in placement.dpi)
    parts = [part.mean(axis=0) for part in np.array_split(luma(light), QUARTERS)]
    off = np.array([_against_neighbours(part, px_per_mm[0]) for part in parts])
    off -= off.mean(axis=0)
    # Three quarters are free, the fourth follows from their mean.
    scatter = float(sigma_about_zero(off.ravel())) * math.sqrt(QUARTERS / (QUARTERS - 1))
    apart = np.ptp(off, axis=0)
    column = int(apart.argmax())
    if apart[column] < SEEN * scatter or scatter == 0:
        limit = Measurement(name, 100 * SEEN * scatter, None, scan=scan.name)
        return as_bound(limit, "at-most", Reason("range", "no place of the strip stands out"))
    quarter = int(np.abs(off[:, column]).argmax())
    row = rows[0] + (quarter + 0.5) * len(light) / QUARTERS
    place = ((column + 0.5) / px_per_mm[0], row / px_per_mm[1])
    doubt = 100 * math.sqrt(2) * scatter  # of two quarters
    return Measurement(name, 100 * float(apart[column]), doubt, scan=scan.name, at_mm=place)


def _strip_rows(placement: Placement) -> tuple[int, int] | None:
    """First and last row of the longest run of bright, even rows, a block shorter at each end."""
    step = placement.overview.step_px
    grey = bed_luma(placement)
    middle, dark = np.percentile(grey, 50, axis=1), np.percentile(grey, 10, axis=1)
    if middle.max() <= 0:
        return None
    on = np.concatenate(([0], (middle >= LIT * middle.max()) & (dark >= EVEN * middle), [0]))
    turns = np.flatnonzero(np.diff(on.astype(int)))
    runs = [(int(a), int(b)) for a, b in zip(turns[::2], turns[1::2], strict=True)]
    first, end = max(runs, key=lambda run: run[1] - run[0], default=(0, 0))
    least = max(LEAST_STRIP_MM * placement.dpi[1] / MM_PER_INCH / step, 3)
    if end - first < least or end - first > 0.5 * len(grey):
        return None
    return (first + 1) * step, (end - 1) * step


def _against_neighbours(columns: Floats, px_per_mm: float) -> Floats:
    """Share by which each column is off the median of its neighbours."""
    reach = max(round(NEIGHBOURS_MM * px_per_mm), 4)
    around = np.maximum(running_median(columns, reach), 1e-6)
    return np.asarray(columns / around - 1)


def _numbers(placement: Placement) -> Iterator[Measurement]:
    """The driver's gains and offsets by channel; without an uncertainty: they are settings."""
    driver = placement.scan.driver
    for name, value in driver.numbers if driver else ():
        what = "driver.gain" if "gain" in name.lower() else "driver.offset"
        yield Measurement(what, value, 0.0, scan=placement.scan.name, channel=_channel_of(name))


def _channel_of(name: str) -> Channel | None:
    found = re.search(r"(?:^|-)(red|green|blue|r|g|b)(?:-|$)", name.lower())
    by_letter: dict[str, Channel] = {"r": "red", "g": "green", "b": "blue"}
    return by_letter[found[1][0]] if found else None
