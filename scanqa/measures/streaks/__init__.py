"""Lines that run through scans of plain paper, and the fine pattern between columns.

Column means of a blank scan (row means for lines across), as the logarithm of linear light, are
searched for lines of 1 sample to 3 mm (`search`): a least-squares amplitude on a cubic
background, against the scatter of all other columns, with a false-alarm rate of 1 in 5000
scans. What is found must be a line and no step or spot (`confirm`). Lines in scans whose paper
was moved in between are the scanner's if they stay and the paper's if they do not (`in_scans`).

Given an earlier check, lines that its profile uncovers are added (`since`).

After JPEG (`scanqa.reading.jpeg_grid`) only what is wider than its blocks is sought, and that no
line was found is a bound.

Fails where there is no paper (dark margins are cut off), where the paper is at the top of the
scale, and in scans only a few millimetres wide. The outermost millimetre, where the frame throws
its shadow, is left out; bands wider than a millimetre are not found within 10 mm of the ends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from scanqa.measures.streaks.column_pattern import column_pattern, no_pattern
from scanqa.measures.streaks.in_scans import least_contrast_found, streaks_along
from scanqa.measures.streaks.pictured import crops, curves
from scanqa.measures.streaks.since import kept, lines_since
from scanqa.model import (
    MM_PER_INCH,
    ColumnProfile,
    Measurement,
    Placement,
    Reason,
    Record,
    Results,
    Shared,
    Streak,
    Told,
    as_bound,
    not_measurable,
    of_role,
    with_doubt,
)
from scanqa.numeric.jpeg_trace import BLOCK as JPEG_BLOCK
from scanqa.reading.cut_off import SATURATED, clipped_share
from scanqa.reading.jpeg_grid import JpegGrid, jpeg_grid
from scanqa.reading.profiles import coarser, profiles, same_domain

FEWEST_BLOCKS = 40  # of JPEG, for lines between them to be sought
THRESHOLD = 6.0  # noise of levels that a line must exceed to be found, about
LEAST_SIDE_MM = 15
# A raised cosine on a flat-topped line is 8 to 16 % too high, on one about as narrow as a sample
# up to 11 % too low (worked out in the tests): root mean squares over shapes between.
WIDE_SAMPLES, FLAT_SHARE, NARROW_SHARE = 2.0, 0.08, 0.06
NOT_SEARCHED = Reason(
    "too-small", "lines are not searched: too little evenly white paper over the width of the scan"
)


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Streaks along and across blank scans, and the column pattern.

    Parameters
    ----------
    scans : sequence of Placement
        Blank ones count: plain white paper, best two or more with the paper moved between. Scans
        of unlike size or dpi are searched one by one.
    told : Told
        An earlier check, if there is one: lines too faint for these scans alone are sought in the
        difference (`since`).

    Returns
    -------
    Results
        ``streaks``, without causes but with their signs; ``streaks.strongest_visible`` of each
        group of like scans (%, streaks of the paper left out); ``streaks.column_pattern`` of each
        scan (% rms of luma); column profiles and magnified crops as evidence; ``columns``
        for a later check.
    """
    results = Results()
    for alike in _alike(of_role(scans, "blank")):
        usable = []
        for placement in alike:
            why = _unusable(placement)
            if why:
                results += Results((no_pattern(placement, why),))
            else:
                usable.append(placement)
        if usable:
            results += _measure_alike(usable, told.earlier)
    return results


def _alike(placements: Sequence[Placement]) -> list[list[Placement]]:
    groups: dict[object, list[Placement]] = {}
    for placement in placements:
        scan = placement.scan
        key = (scan.width_px, scan.height_px, scan.channels, placement.dpi)
        groups.setdefault(key, []).append(placement)
    return list(groups.values())


def _unusable(placement: Placement) -> Reason | None:
    if clipped_share(placement) > SATURATED:
        return Reason(
            "clipped",
            f"{100 * clipped_share(placement):.0f} % of the samples are at the top of the "
            "scale, where lines cannot be seen; scan with a lower brightness",
        )
    width_mm, height_mm = placement.size_mm
    if min(width_mm, height_mm) < LEAST_SIDE_MM:
        return Reason("too-small", f"the scan is only {width_mm:.0f} × {height_mm:.0f} mm")
    return None


def _measure_alike(placements: Sequence[Placement], earlier: Record | None) -> Results:
    """Streaks, pattern and pictures of scans of one size."""
    streaks: list[Streak] = []
    least = 0.0
    measurements, evidence = [], []
    columns: tuple[ColumnProfile, ...] = ()
    grid = next(filter(None, map(jpeg_grid, placements)), None)
    for axis in ("travel", "across"):
        found = [profiles(placement, axis) for placement in placements]
        sound = [one for one in found if one is not None]
        if len(sound) < len(found):
            if axis == "travel":
                why = Reason("too-dark", "no evenly white paper was found over its width")
                measurements += [no_pattern(placement, why) for placement in placements]
                least = math.inf
            continue
        beds = same_domain(sound)
        if grid is not None:
            start = grid.column if axis == "travel" else grid.row
            floor = grid.light(placements[0], grid.level) / math.sqrt(12)
            beds = [coarser(bed, 2 * JPEG_BLOCK, start, floor) for bed in beds]
            if beds[0].stack.shape[2] < FEWEST_BLOCKS:
                least = math.inf  # not searched
                continue
        here = streaks_along(placements, beds, axis)
        least = max(least, least_contrast_found(beds))
        if axis == "travel" and grid is None:
            columns = kept(placements, beds)
            here += lines_since(placements, beds, here, earlier) if earlier else []
        streaks += here
        if axis == "travel":
            for placement, bed in zip(placements, beds, strict=True):
                measurements.append(
                    column_pattern(placement, bed, here)
                    if grid is None
                    else no_pattern(placement, grid.why)
                )
        evidence.append(curves(placements[0], beds, axis, here))
    measurements.append(_strongest_visible(placements, streaks, least, grid))
    evidence += crops(placements, streaks)
    return Results(tuple(measurements), tuple(streaks), (), tuple(evidence), columns)


def _strongest_visible(
    placements: Sequence[Placement], streaks: Sequence[Streak], least: float, grid: JpegGrid | None
) -> Measurement:
    """Contrast of the strongest streak of the scanner (not of the paper) that shows.

    Where none does it is at most what such scans would have shown (`least`, a share of light), or
    what a faint one that they do show may be. JPEG thins a narrow line: then it is at least what
    is left, or at most what may have vanished.
    """
    name = "streaks.strongest_visible"
    of_scanner = [streak for streak in streaks if not streak.of_the_paper]
    shown = [streak for streak in of_scanner if streak.visible]
    if shown:
        one = max(shown, key=lambda s: s.contrast_percent)
        found = Measurement(name, one.contrast_percent, _error(one), scan=one.scan)
        found = with_doubt(found, Shared("rule", "shape of the line", _of_shape(one, placements)))
        return found if grid is None else as_bound(found, "at-least", grid.why)
    scan = placements[0].scan.name
    faint = (s.contrast_percent + 2 * _error(s) for s in of_scanner)
    most = max(100 * least, *faint, 0.0)
    if math.isinf(most):
        return not_measurable(name, grid.why if grid else NOT_SEARCHED, scan)
    if grid is not None:
        limits = (grid.hidden, THRESHOLD * grid.level / math.sqrt(12))
        most = max(100 * grid.light(placements[0], max(limits)), most)
        return Measurement(name, most, None, "at-most", grid.why.words, scan,
                           reason_kind=grid.why.kind)  # fmt: skip
    words = f"no line shows; one of {most:.2f} % or more would have"
    return Measurement(name, most, None, "at-most", words, scan, reason_kind="noise")


def _of_shape(streak: Streak, placements: Sequence[Placement]) -> float:
    """What is not known of a line's shape: its height is that of a raised cosine."""
    scan = next((p for p in placements if p.scan.name == streak.scan), placements[0])
    across = scan.dpi[0 if streak.axis == "travel" else 1]
    samples = streak.width_um / 1000 * across / MM_PER_INCH
    share = FLAT_SHARE if samples > WIDE_SAMPLES else NARROW_SHARE
    return share * streak.contrast_percent


def _error(streak: Streak) -> float:
    return streak.contrast_percent / streak.significance
