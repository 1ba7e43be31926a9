"""Pictures of streaks: the mean profile that shows them, and the real pixels of the strongest."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from scanqa.model import MM_PER_INCH, Curve, Direction, Evidence, Placement, Streak
from scanqa.numeric.line_fit import local_pattern
from scanqa.reading.crops import crop
from scanqa.reading.profiles import Profiles

CROPS = 4
CURVE_COLUMNS = 300


def curves(
    placement: Placement, beds: Sequence[Profiles], axis: Direction, streaks: Sequence[Streak]
) -> Evidence:
    """Mean profile less its shading, as least and most light over each few samples."""
    profile = np.mean([bed.mean() for bed in beds], axis=0)
    reach = min(max(round(10 / beds[0].pitch_mm), 16), profile.size // 4)
    fine, _ = local_pattern(profile, reach)
    percent = 100 * np.expm1(fine)
    group = max(math.ceil(percent.size / CURVE_COLUMNS), 1)
    whole = percent.size // group
    groups = percent[: whole * group].reshape(whole, group)
    x = beds[0].at_mm(np.arange(whole) * group + (group - 1) / 2 + reach)
    name = "columns" if axis == "travel" else "rows"
    return Evidence(
        explains="streaks",
        kind="curves",
        title=f"Mean light of the {name}, shading removed",
        scan=placement.scan.name,
        x_label="from the left, mm" if axis == "travel" else "from the top, mm",
        y_label="light against surroundings, %",
        unit="%",
        curves=(Curve("least", x, groups.min(axis=1)), Curve("most", x, groups.max(axis=1))),
        lines_mm=tuple((s.at_mm, f"{s.polarity} {s.contrast_percent:.2f} %") for s in streaks),
        note=f"Each point shows the least and most of {group} {name}"
        + (f"; mean of {len(beds)} scans." if len(beds) > 1 else "."),
        shows=axis,
    )


def crops(placements: Sequence[Placement], streaks: Sequence[Streak]) -> list[Evidence]:
    """Real pixels round the middle of the strongest streaks."""
    by_name = {placement.scan.name: placement for placement in placements}
    strongest = sorted(streaks, key=lambda s: -s.delta_L)[:CROPS]
    return [_crop(by_name[streak.scan], streak) for streak in strongest]


def _crop(placement: Placement, streak: Streak) -> Evidence:
    along = streak.axis == "travel"
    dpi = placement.dpi[0 if along else 1]
    side = int(np.clip(8 * streak.width_um / 1000 / MM_PER_INCH * dpi, 96, 320))
    place_mm = (streak.at_mm, sum(streak.extent_mm) / 2)
    piece = crop(placement, *placement.px(*(place_mm if along else place_mm[::-1])), side)
    return Evidence(
        explains="streaks",
        kind="crop",
        title=f"{streak.polarity.capitalize()} line at {streak.at_mm:.1f} mm, magnified",
        scan=streak.scan,
        image=piece.image,
        extent_mm=piece.extent_mm,
        lines_mm=((streak.at_mm, f"{streak.contrast_percent:.2f} %"),),
        note=piece.note,
        codes=piece.codes,
        shows=streak.axis,
    )
