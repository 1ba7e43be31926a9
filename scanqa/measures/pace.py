"""How fast the scanner is: seconds for a scan of the whole bed, pages for an hour.

The median of the scans of one dpi, colour and depth; the lamp's warming up makes the first one
longer. ``pages_per_hour`` is ``3600 / (seconds + turning)``: one page a scan, the book turned in
between. Turning takes `catalogue.sizes.TURN_S`, an assumption that the result states; it is not in
the uncertainty, which is that of the seconds.

Times come from the files that ``scanqa capture`` wrote, where they stand in the description. The
dates of files are not used: what lies between two of them is mostly the laying of the next thing,
and copying changes them. Fails: no scan of the whole bed was timed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from scanqa.catalogue.sizes import TURN_S
from scanqa.model import Measurement, Placement, Reason, Results, Told, not_measurable
from scanqa.numeric.scatter import median_error

WHOLE_BED = 0.98  # of the area of the largest scan
MIN_FOR_SCATTER = 3  # scans: two have a difference, not yet a scatter


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Pace for each dpi, colour and depth that was timed; of the first such scan's name.

    Parameters
    ----------
    scans : sequence of Placement
        Any, one or several pieces to each; those count whose file says how long it took.
    told : Told
        Not needed.
    """
    timed = [p for p in {id(p.scan): p for p in scans}.values() if p.scan.seconds is not None]
    if not timed:
        why = "no scan was timed: scan with scanqa capture, which writes the seconds into the file"
        return _missing(Reason("no-scan", why))
    whole = WHOLE_BED * max(_area_mm2(p) for p in scans)
    groups: dict[tuple[int, int, int], list[Placement]] = {}
    for p in timed:
        if _area_mm2(p) >= whole:
            key = (round(p.dpi[0]), p.scan.channels, p.scan.bits)
            groups.setdefault(key, []).append(p)
    if not groups:
        return _missing(Reason("too-small", "only scans of a part of the bed were timed"))
    return Results(tuple(m for group in groups.values() for m in _of_group(group)))


def _missing(why: Reason) -> Results:
    names = ("pace.seconds_per_scan", "pace.pages_per_hour")
    return Results(tuple(not_measurable(name, why) for name in names))


def _area_mm2(placement: Placement) -> float:
    width, height = placement.size_mm
    return width * height


def _of_group(group: Sequence[Placement]) -> Iterator[Measurement]:
    first = group[0]
    took = np.array([p.scan.seconds for p in group], np.float64)
    middle = float(np.median(took))
    error = float(median_error(took)) if len(took) >= MIN_FOR_SCATTER else None
    colour = "colour" if first.scan.channels == 3 else "grey"
    of = f"{len(took)} scans" if len(took) > 1 else "1 scan"
    words = f"{round(first.dpi[0])} dpi, {colour}, {first.scan.bits} bits, {of} timed"
    yield Measurement("pace.seconds_per_scan", middle, error, reason=words, scan=first.scan.name)
    rate = 3600 / (middle + TURN_S)
    yield Measurement(
        "pace.pages_per_hour",
        rate,
        None if error is None else rate * error / (middle + TURN_S),
        reason=f"{words}; turning a page is taken to need {TURN_S:g} s",
        scan=first.scan.name,
    )
