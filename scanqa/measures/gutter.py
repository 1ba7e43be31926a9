"""How the open page darkens towards the spine.

The paper level is an *upper envelope*, so print does not count: the page is divided into bands of
10 mm along the spine; in each, at each distance from the side where the spine lies, the paper is
the cluster of the small blocks' lightness (L*, of luma) nearest to their 85th percentile (mean
shift), and dips narrower than 8 mm along the way (lines of text that run with the spine) are
filled (grey closing). Each band is compared
with its own plateau, the level further in; bands that show no bare paper there (pictures, lid
beyond the book) are left out; the profile is the median over the bands.

Distances are from the image's border on the spine side: what the sensor does not see there is the
dead margin (`edges`). ``delta_L_at_0mm`` is the profile's light continued to that border.
``reach_k`` is where the page, coming from the plateau, first is darker than it by k.

The definitions are our own; no standard states them. Fails (not measurable): no open-book scan;
spine side unknown and not evident; no bare paper; image too small.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from scanqa.catalogue import GUTTER_DISTANCES_MM, GUTTER_REACH_DELTA_L, SIDES, Side
from scanqa.model import MM_PER_INCH, Curve, Evidence, Floats, Measurement, Placement, Results
from scanqa.numeric.lightness import light_of, lstar, luma
from scanqa.numeric.scatter import median_error
from scanqa.numeric.sides import from_side

BAND_MM = 10.0
ENVELOPE_PERCENT = 85.0
CLUSTER_L = 1.5  # blocks this near to the paper level are paper
SHIFTS = 6  # mean shifts; the start is near already
DIP_L = 1.0  # shallower dips are grain: filling them would lift the level
FILL_MM = 8.0  # two lines of text and the space between them
PLATEAU_MM = (35.0, 70.0)  # beyond the lift of a page, still on the page of a small book
PLATEAU_SHARE = 0.5  # of the extent at most
MIN_PLATEAU_MM = 25.0  # or the image is too small
PAPER_DELTA_L = 5.0  # a band whose plateau is darker than the others' paper by more shows no paper
PAPER_L = 50.0  # darker than this is not a white page
MIN_BANDS = 3
CONTINUED = 2.3  # error of a parabola through three values, half a step beyond them: √334 / 8
PLACE_SHARE = 0.1  # of a block: how far a crossing between two of them can be off
SHOWN_MM = 40.0

# What tells a gutter from an edge shadow or the end of the page, when nobody says where it is:
GUTTER_MIN_DELTA_L = 4.0  # at 2 mm
GUTTER_REACH_MM = (3.0, 30.0)  # of a darkening by 2 L*
GUTTER_SLOPE_MM = 1.0  # between a darkening by 2 L* and by half of the whole
GUTTER_LEAD = 2.0  # the area under the curve over that of any other side


def measure(placements: Sequence[Placement], *, book_edge: Side | None = None) -> Results:
    """Darkening towards the spine of each open-book scan.

    Parameters
    ----------
    placements : sequence of Placement
        Open-book scans.
    book_edge : str, optional
        Side of the image where the spine lies; without it the side is found if it is evident.

    Returns
    -------
    Results
        ``gutter.delta_L_at_*``, ``gutter.reach_*``, ``gutter.plateau`` and the profile, for each
        scan.
    """
    if not placements:
        why = "no open-book scan: lay a book open at white pages, its spine on the glass edge"
        return Results(tuple(_all_missing(why, "")))
    results = Results()
    for placement in placements:
        results += _of_scan(placement, book_edge)
    return results


def _all_missing(why: str, scan: str) -> Iterator[Measurement]:
    names = [f"gutter.delta_L_at_{d}mm" for d in GUTTER_DISTANCES_MM]
    names += [f"gutter.reach_{delta}" for delta in GUTTER_REACH_DELTA_L]
    for name in (*names, "gutter.plateau"):
        yield Measurement(name, None, status="not-measurable", reason=why, scan=scan)


# ------------------------------------------------------------------------------- profile


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Paper lightness from one side inwards.

    Attributes
    ----------
    at_mm : (n,)
        Distances from the image's border, block centres.
    lack : (bands, n)
        Plateau less level, L*, of each band that shows paper.
    plateau : float
        L* of the page further in, median of the bands.
    plateau_error : float
        Its standard error from the scatter of the bands.
    """

    at_mm: Floats
    lack: Floats
    plateau: float
    plateau_error: float

    @property
    def delta(self) -> Floats:
        """Median over the bands, (n,)."""
        return np.asarray(np.median(self.lack, axis=0), np.float64)


def paper_envelope(lightness: Floats, along_px: int, fill_px: int) -> Floats:
    """Upper envelope of blocks (along the spine, inwards): (bands, inwards).

    Parameters
    ----------
    lightness : (rows, n)
        L* of blocks.
    along_px, fill_px : int
        Blocks to a band; length of dips to fill along the way inwards.
    """
    count = max(1, len(lightness) // along_px)
    level = np.array([_paper_level(band) for band in np.array_split(lightness, count, axis=0)])
    # Carried on level beyond both ends, or the closing would lift the darkest place, at the spine.
    wide = np.pad(level, ((0, 0), (fill_px, fill_px)), mode="edge")
    closed = ndimage.grey_closing(wide, size=(1, fill_px))[:, fill_px:-fill_px]
    return np.asarray(np.where(closed - level > DIP_L, closed, level), np.float64)


def _paper_level(band: Floats) -> Floats:
    """Mean of the bright cluster of each column: an upper percentile lies above noisy paper."""
    level = np.percentile(band, ENVELOPE_PERCENT, axis=0)
    for _ in range(SHIFTS):
        near = np.abs(band - level) <= CLUSTER_L
        count = near.sum(axis=0)
        mean = (band * near).sum(axis=0) / np.maximum(count, 1)
        level = np.where(count > 0, mean, level)
    return np.asarray(level, np.float64)


def page_profile(placement: Placement, side: Side) -> Profile | str:
    """Profile of the paper from one side inwards, or the reason why there is none."""
    step = placement.overview.step_px
    along, inwards = (1, 0) if side in ("left", "right") else (0, 1)
    pitch = [step * MM_PER_INCH / dpi for dpi in placement.dpi]
    extent = placement.size_mm[inwards]
    blocks = from_side(placement.overview.preview, side)
    end_mm = min(PLATEAU_MM[1], PLATEAU_SHARE * extent)
    if end_mm < MIN_PLATEAU_MM:
        return f"the image is only {extent:.0f} mm from the spine side inwards"
    start_mm = end_mm * PLATEAU_MM[0] / PLATEAU_MM[1]
    shown = blocks[:, : int(end_mm / pitch[inwards])]
    lightness = lstar(luma(placement.light.light(shown)))
    fill = 2 * round(FILL_MM / pitch[inwards] / 2) + 1
    level = paper_envelope(lightness, max(1, round(BAND_MM / pitch[along])), fill)
    at_mm = np.asarray((np.arange(level.shape[1]) + 0.5) * pitch[inwards], np.float64)
    if side in ("right", "bottom"):  # blocks start at the other side: a part block is missing here
        at_mm += extent - blocks.shape[1] * pitch[inwards]
    plateaus = np.median(level[:, at_mm >= start_mm], axis=1)
    page = float(np.percentile(plateaus, 75))
    if page < PAPER_L:
        return "no white page there: lay the book open at white pages"
    paper = np.abs(plateaus - page) <= PAPER_DELTA_L
    if np.count_nonzero(paper) < MIN_BANDS:
        return "too little bare paper along the spine: open the book at pages with more white"
    lack = plateaus[paper, None] - level[paper]
    kept = plateaus[paper]
    return Profile(at_mm, lack, float(np.median(kept)), float(median_error(kept)))


def delta_at(profile: Profile, distance_mm: float) -> float:
    """Median darkening (L*) at a distance from the border.

    Straight between block centres. From the first centre to the border the *light* is continued
    as the parabola through three blocks: light goes smoothly down to the fold, L* does not.
    """
    at_mm, delta = profile.at_mm, profile.delta
    if distance_mm >= at_mm[0]:
        return float(np.interp(distance_mm, at_mm, delta))
    light = light_of(profile.plateau - delta[:3])
    at_border = float(np.polyval(np.polyfit(at_mm[:3], light, 2), 0.0))
    border = profile.plateau - float(lstar(at_border))
    return float(np.interp(distance_mm, [0.0, at_mm[0]], [border, delta[0]]))


def reach(at_mm: Floats, delta: Floats, limit: float) -> float:
    """Distance where `delta`, coming from far, first exceeds `limit`; 0 if it never does."""
    above = np.flatnonzero(delta > limit)
    if not len(above):
        return 0.0
    i = int(above[-1])
    if i + 1 == len(delta):
        return float(at_mm[-1])
    part = (delta[i] - limit) / (delta[i] - delta[i + 1])
    return float(at_mm[i] + part * (at_mm[i + 1] - at_mm[i]))


# --------------------------------------------------------------------------------- front


def _of_scan(placement: Placement, book_edge: Side | None) -> Results:
    name = placement.scan.name
    found = page_profile(placement, book_edge) if book_edge else _found_side(placement)
    if isinstance(found, str):
        return Results(tuple(_all_missing(found, name)))
    side, profile = (book_edge, found) if isinstance(found, Profile) else found
    assert side is not None
    measurements = [
        Measurement("gutter.plateau", profile.plateau, profile.plateau_error, scan=name),
        *_deltas(profile, name),
        *_reaches(profile, name),
    ]
    return Results(tuple(measurements), evidence=(_evidence(profile, side, name),))


def _found_side(placement: Placement) -> tuple[Side, Profile] | str:
    """The one side that darkens as a gutter does."""
    areas: dict[Side, float] = {}
    profiles: dict[Side, Profile] = {}
    for side in SIDES:
        profile = page_profile(placement, side)
        if isinstance(profile, str):
            continue
        profiles[side] = profile
        areas[side] = float(np.maximum(profile.delta, 0).sum()) if _gutter_like(profile) else 0.0
    ranked = sorted(areas, key=lambda side: areas[side], reverse=True)
    if ranked and areas[ranked[0]] > 0:
        best = ranked[0]
        if len(ranked) == 1 or areas[best] > GUTTER_LEAD * areas[ranked[1]]:
            return best, profiles[best]
    return "it is not evident where the spine lies: say --book-edge left, right, top or bottom"


def _gutter_like(profile: Profile) -> bool:
    delta = profile.delta
    if delta_at(profile, 2.0) < GUTTER_MIN_DELTA_L:
        return False
    foot = reach(profile.at_mm, delta, 2.0)
    half = reach(profile.at_mm, delta, float(delta.max()) / 2)
    return GUTTER_REACH_MM[0] <= foot <= GUTTER_REACH_MM[1] and foot - half >= GUTTER_SLOPE_MM


def _deltas(profile: Profile, name: str) -> Iterator[Measurement]:
    errors = median_error(profile.lack)
    for d in GUTTER_DISTANCES_MM:
        value = delta_at(profile, d)
        error = float(np.interp(d, profile.at_mm, errors)) * (CONTINUED if d == 0 else 1.0)
        yield Measurement(f"gutter.delta_L_at_{d}mm", value, error, scan=name)


def _reaches(profile: Profile, name: str) -> Iterator[Measurement]:
    """Uncertainty from that of the profile over its slope there, and from the blocks' size."""
    delta = profile.delta
    errors = median_error(profile.lack)
    pitch = float(profile.at_mm[1] - profile.at_mm[0])
    for limit in GUTTER_REACH_DELTA_L:
        value = reach(profile.at_mm, delta, limit)
        error = float(np.interp(value, profile.at_mm, errors))
        early = reach(profile.at_mm, delta, limit + error)
        late = reach(profile.at_mm, delta, limit - error)
        uncertainty = float(np.hypot((late - early) / 2, PLACE_SHARE * pitch))
        yield Measurement(f"gutter.reach_{limit}", value, uncertainty, scan=name)


def _evidence(profile: Profile, side: Side, name: str) -> Evidence:
    here = profile.at_mm <= SHOWN_MM
    at_mm = profile.at_mm[here]
    low, high = np.percentile(profile.lack[:, here], [10, 90], axis=0)
    lines = []
    for limit in GUTTER_REACH_DELTA_L:
        where = reach(profile.at_mm, profile.delta, limit)
        if where > 0:
            lines.append((where, f"{limit} L* darker: {where:.1f} mm"))
    return Evidence(
        "gutter",
        "curves",
        f"How the page darkens towards the spine ({side} side of the image)",
        scan=name,
        x_label="Distance from the side of the image, mm",
        y_label="L* below the page further in",
        unit="L*",
        curves=(
            Curve("median along the spine", at_mm, profile.delta[here]),
            Curve("a tenth of the spine is lighter than this", at_mm, low),
            Curve("a tenth of the spine is darker than this", at_mm, high),
        ),
        lines_mm=tuple(lines),
        note=f"Page further in: L* {profile.plateau:.1f}; {len(profile.lack)} bands of paper.",
    )
