"""Lines that are new since an earlier check, too faint for one check beside the column pattern.

The pattern of the columns is the scanner's own and stays; paper and noise do not. So the profile of
the earlier check foretells this one: by least squares over a few neighbouring columns, so that it
does not matter if the line starts a sample, or a part of one, elsewhere. What is foretold is taken
off, and lines are sought in the rest as in any profile, by the tails of that rest. The light of a
lamp changes smoothly from place to place and goes with the shading.

Luma only. Where the pattern was drawn anew (another calibration, another unit) nothing is foretold,
and no more is found than by one check. JPEG keeps no pattern: its profiles are not kept.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from scanqa.errors import NotARecord
from scanqa.measures.streaks.in_scans import streaks_along
from scanqa.model import ColumnProfile, Floats, Placement, Record, ScanFacts, Streak
from scanqa.numeric.line_fit import amplitudes, amplitudes_at, local_pattern
from scanqa.numeric.own_signal import smoothed
from scanqa.numeric.spread import sigma_about_zero
from scanqa.reading.profiles import Profiles

STEP = 1e-5  # of log light: 0.001 %
MOST_KEPT = 2  # blanks of one size: two tell a line of their paper from one of the scanner
SHADING_MM = 10.0  # on each side: what is wider is not kept
FARTHEST = 3  # samples by which the start of the line may differ
FEWEST = 200  # samples in common, for a handful of weights to be known
ROUNDS, CUT = 3, 4.0  # columns beyond so many deviations (lines) do not tell how the pattern lies
NEAR_MM = 0.5  # of a line that either check knows: that one is no news
# A line of the earlier paper is twice as strong in its own scan as in the mean of two, and absent
# in the other; a line of the scanner is in both alike.
UNLIKE = 1.2
GONE = 3.5  # deviations of the earlier pattern: what stood out so far, the other way, is gone


def kept(placements: Sequence[Placement], beds: Sequence[Profiles]) -> tuple[ColumnProfile, ...]:
    """What a later check needs: the profiles of the first two blanks of one size.

    Parameters
    ----------
    placements : sequence of Placement
        Blank scans of one size and dpi.
    beds : sequence of Profiles
        Of each, along travel.
    """
    return tuple(
        ColumnProfile(placement.scan.name, bed.first, _packed(_without_shading(bed)))
        for placement, bed in list(zip(placements, beds, strict=True))[:MOST_KEPT]
    )


def lines_since(
    placements: Sequence[Placement],
    beds: Sequence[Profiles],
    known: Sequence[Streak],
    earlier: Record,
) -> list[Streak]:
    """Lines along travel that this check alone does not show and the earlier one did not have.

    Parameters
    ----------
    placements : sequence of Placement
        Blank scans of one size and dpi.
    beds : sequence of Profiles
        Of each, along travel, on one domain.
    known : sequence of Streak
        What these scans show by themselves.
    earlier : Record
        A check of the same scanner.

    Returns
    -------
    list of Streak
        Each with the date of the earlier check; whether it stays while the paper moves is left
        unknown where either check has a single look.

    Raises
    ------
    NotARecord
        If the earlier check's profiles cannot be unpacked.
    """
    facts = _alike(placements[0], earlier)
    before = [
        (c.first, _unpacked(c)) for c in earlier.columns if any(f.file == c.scan for f in facts)
    ]
    if not before:
        return []
    first = max(beds[0].first, *(start for start, _ in before))
    end = min(beds[0].first + beds[0].stack.shape[2], *(start + len(v) for start, v in before))
    if end - first < FEWEST:
        return []
    old = np.stack([values[first - start : end - start] for start, values in before])
    rest = [_less_foretold(_cut(bed, first, end), old.mean(axis=0)) for bed in beds]
    found = streaks_along(placements, rest, "travel")
    known = [streak for streak in (*known, *earlier.streaks) if streak.axis == "travel"]
    mean = np.mean([bed.mean() for bed in rest], axis=0)
    date = (earlier.conditions.get("date") or earlier.created)[:10]
    moved = len(old) > 1 and not any(f.paper == "still" for f in facts)
    return [
        replace(
            line,
            since=date,
            signs=line.signs if moved else replace(line.signs, compared=False, stays=1.0),
        )
        for line in _new(found, known, mean, old, first)
    ]


def _new(
    found: Sequence[Streak], known: Sequence[Streak], mean: Floats, old: Floats, first: int
) -> Iterator[Streak]:
    """Lines that neither check knows, that stay in this one and were in no scan of the other.

    Their significance is that of the plain contrast, which a difference of checks is told by.
    """
    for line in found:
        near = max(NEAR_MM, line.width_um / 1000)
        if line.of_the_paper or any(abs(line.at_mm - other.at_mm) < near for other in known):
            continue
        pitch_um = 1000 * line.at_mm / (line.at_px + 0.5)
        at, width = round(line.at_px) - first, max(round(line.width_um / pitch_um), 1)
        size = math.log1p(line.contrast_percent / 100)
        sign = -1 if line.polarity == "dark" else 1
        then = amplitudes_at(old, at, width)
        pattern = float(sigma_about_zero(amplitudes(old.mean(axis=0), width)))
        if np.ptp(then) < UNLIKE * size and sign * then.mean() > -GONE * pattern:
            error = float(sigma_about_zero(amplitudes(mean, width)))
            yield replace(line, significance=size / error)


def _alike(placement: Placement, earlier: Record) -> list[ScanFacts]:
    """Blanks of the earlier check whose columns are those of a scan, in the same light."""
    scan, dpi = placement.scan, tuple(round(value) for value in placement.dpi)
    own = scan.width_px, scan.channels, placement.light.source, dpi
    return [
        facts
        for facts in earlier.scans
        if facts.dpi is not None
        and own
        == (
            facts.width_px,
            facts.channels,
            facts.light,
            tuple(round(value) for value in facts.dpi),
        )
    ]


# ------------------------------------------------------------------------------- the profiles


def _cut(bed: Profiles, first: int, end: int) -> Profiles:
    """Luma of a run of the image's columns."""
    part = slice(first - bed.first, end - bed.first)
    return replace(bed, stack=bed.stack[:1, :, part], first=first)


def _less_foretold(bed: Profiles, old: Floats) -> Profiles:
    """A profile less what the earlier one foretells of it, in every band alike."""
    shifted = np.stack([np.roll(old, by) for by in range(-FARTHEST, FARTHEST + 1)])
    reach = FEWEST // 4
    fine, own = local_pattern(shifted, reach)[0], local_pattern(bed.mean(), reach)[0]
    rest, weights = own, np.zeros(len(fine))
    usual = np.all(np.abs(fine) <= CUT * sigma_about_zero(fine)[:, None], axis=0)
    for _ in range(ROUNDS):
        used = usual & (np.abs(rest) <= CUT * sigma_about_zero(rest))
        weights = np.linalg.lstsq(fine[:, used].T, own[used], rcond=None)[0]
        rest = own - weights @ fine
    return replace(bed, stack=bed.stack - weights @ shifted)


def _without_shading(bed: Profiles) -> Floats:
    profile = bed.mean()
    reach = min(round(SHADING_MM / bed.pitch_mm), (profile.size - 1) // 2)
    return np.asarray(profile - smoothed(profile, 2 * reach + 1, 3, ends="inside"))


def _packed(values: Floats) -> bytes:
    steps = np.clip(np.round(values / STEP), -32768, 32767).astype("<i2")
    return zlib.compress(steps.tobytes(), 9)


def _unpacked(column: ColumnProfile) -> Floats:
    try:
        return STEP * np.frombuffer(zlib.decompress(column.light), "<i2").astype(np.float64)
    except (zlib.error, ValueError) as error:
        raise NotARecord(f"its profile of {column.scan} is damaged ({error})") from None
