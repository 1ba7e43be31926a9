"""Grain of scans of plain paper: in all, from scan to scan, in place, and what it says of light.

Small windows on a grid over the bed are read at full resolution and rid of their shading
(`windows`). The standard deviation of their L* is the total noise (FADGI 2023 and ISO 19264-1
state noise so). Two scans of the same paper tell its parts (`two_frames`): fixed pattern, the
paper's grain, and temporal. A paper that lies still hides its grain in the fixed pattern, one
whose grain is not found again hides it in the temporal noise: then that part is not measurable,
and the reason says what was seen. What the temporal noise says of the light is in
`photon_transfer`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from scanqa.measures.noise.photon_transfer import OF_LIGHT, DarkNoise, dark_noise, noise_of_light
from scanqa.measures.noise.stated import error_of_median, missing
from scanqa.measures.noise.two_frames import Split, splits
from scanqa.measures.noise.windows import Sample, like_pair, samples
from scanqa.model import (
    MM_PER_INCH,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    Told,
    of_role,
)

NO_GRAIN_L = 1e-6
WHITE = 0.8  # light at which signal to noise is stated, so that another paper gives the same
READ_SHARE = 0.15  # of the variance on white paper, that may not be the photons'
FOUND_SHARE = 0.5  # of the windows, in which the moved paper's grain must be found again
TEMPORAL, FIXED, PAPER, SNR = (
    "noise.temporal", "noise.fixed_pattern", "noise.paper", "noise.snr",
)  # fmt: skip
OF_A_PAIR = (TEMPORAL, FIXED, PAPER, SNR, *OF_LIGHT)


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Noise of blank scans.

    Parameters
    ----------
    scans : sequence of Placement
        Blank ones count (plain white paper), of which the first two of like size and dpi are
        compared; dark ones (a black card) at the same setting: two give read noise and gain.
    told : Told
        Not needed.

    Returns
    -------
    Results
        ``noise.total`` of each scan (L*); of the first pair ``noise.temporal``,
        ``noise.fixed_pattern``, ``noise.paper`` (L*), ``noise.snr`` (dB, linear luma at
        a light of 0.8), ``noise.light_index`` (thousand electrons at full scale), ``noise.gain``
        (ppm of full scale) and ``noise.read`` (% of full scale) of each channel. The uncertainty
        is the standard error over the windows, and what grain between the samples leaves open.
    """
    blanks = of_role(scans, "blank")
    read = {id(blank): samples(blank) for blank in blanks}
    results = Results(tuple(_total(blank, read[id(blank)]) for blank in blanks))
    if not blanks:
        return results
    pair = like_pair(blanks)
    if pair is None:
        why = "it takes two scans of the same paper at the same setting; one alone gives the total"
        return results + missing(blanks[0], Reason("too-few", why), *OF_A_PAIR)
    one, other = pair
    windows = read[id(one)]
    if all(window.grain.std() < NO_GRAIN_L for window in windows):
        why = "the scan has no grain at all: it was processed or is clipped"
        return results + missing(one, Reason("no-detail", why), *OF_A_PAIR)
    if all(np.array_equal(a.light, b.light) for a, b in zip(windows, read[id(other)], strict=True)):
        why = "the two files hold the same pixels: scan twice, a copy shows no noise"
        return results + missing(one, Reason("unlike", why), *OF_A_PAIR)
    found = splits(windows, read[id(other)], one, other)
    return results + _parts(one, found, windows, dark_noise(of_role(scans, "dark")))


def _total(placement: Placement, windows: Sequence[Sample]) -> Measurement:
    values = np.array([window.grain.std() for window in windows])
    total, error = float(np.median(values)), error_of_median(values)
    return Measurement("noise.total", total, error, scan=placement.scan.name, channel="luma")


def _parts(
    placement: Placement,
    found: Sequence[Split],
    windows: Sequence[Sample],
    dark: DarkNoise | None,
) -> Results:
    """What the pair tells, by whether the paper moved and its grain was found again."""
    total = np.array([split.total for split in found])
    in_place = np.array([split.in_place for split in found])
    used = [index for index, split in enumerate(found) if split.grain is not None]
    if len(used) >= FOUND_SHARE * len(found):
        grain = np.array([found[index].grain for index in used], np.float64)
        how = (
            f"the paper moved by {_moved_words([found[i] for i in used], placement)}; "
            "its grain was lined up and taken off"
        )
        doubt = float(np.median([found[index].grain_doubt for index in used]))
        results = Results(
            (
                _root(TEMPORAL, placement, total[used] - in_place[used] - grain, how, doubt),
                _root(FIXED, placement, in_place, how),
                _root(PAPER, placement, grain, how, doubt),
            )
        )
    elif 2 * sum(split.still for split in found) > len(found):
        how, used = "the paper lay still", list(range(len(found)))
        together = math.sqrt(float(np.median(in_place)))
        why = (
            "the paper did not move between the scans, so its grain looks like a fixed pattern "
            f"(together {together:.2f} L*); move it by a few millimetres and scan again"
        )
        results = Results((_root(TEMPORAL, placement, total - in_place, how),))
        results += missing(placement, Reason("unlike", why), FIXED, PAPER)
    else:
        return _grain_lost(placement, total, in_place)
    kept = [found[index] for index in used]
    rounding = np.array([windows[index].rounding for index in used])
    return results + _snr(placement, kept, how) + noise_of_light(placement, kept, rounding, dark)


def _grain_lost(placement: Placement, total: Floats, in_place: Floats) -> Results:
    together = math.sqrt(max(float(np.median(total - in_place)), 0.0))
    why = (
        "the paper moved and its grain was not found again, so it cannot be told from noise "
        f"(together {together:.2f} L*); move it by a few millimetres without turning it, or "
        "scan twice without moving it"
    )
    fixed = Results((_root(FIXED, placement, in_place, ""),))
    return fixed + missing(placement, Reason("unlike", why), TEMPORAL, PAPER, SNR, *OF_LIGHT)


def _moved_words(moved: Sequence[Split], placement: Placement) -> str:
    shifts = [split.moved_px for split in moved if split.moved_px is not None]
    rows, columns = np.median(np.array(shifts), axis=0)
    across, travel = (
        shift * MM_PER_INCH / dpi for shift, dpi in zip((columns, rows), placement.dpi, strict=True)
    )
    return f"{across:+.2f} mm across and {travel:+.2f} mm along travel"


def _root(
    name: str, placement: Placement, variances: Floats, how: str, doubt: float = 0.0
) -> Measurement:
    """Root of the median variance, and √(v + u) − √v: also right where there is hardly any.

    `doubt` is a variance by which all windows may be off alike.
    """
    variance = max(float(np.median(variances)), 0.0)
    value = math.sqrt(variance)
    error = math.sqrt(variance + math.hypot(error_of_median(variances), doubt)) - value
    return Measurement(name, value, error, reason=how, scan=placement.scan.name, channel="luma")


def _snr(placement: Placement, found: Sequence[Split], how: str) -> Results:
    """Level over temporal noise of linear luma at the light of white paper, dB.

    Noise of photons goes with the root of the light; of `READ_SHARE` of its variance that is not
    known.
    """
    level = np.array([split.level[-1] for split in found])
    ratios = np.array([split.light_temporal[-1] for split in found]) / (level * WHITE)
    ratio = float(np.median(ratios))
    if ratio <= 0:
        why = Reason("no-detail", "the two scans do not differ at all")
        return missing(placement, why, SNR)
    doubts = np.array([split.light_doubt[-1] for split in found]) / (level * WHITE)
    carried = READ_SHARE * abs(math.log(float(np.median(level)) / WHITE)) * ratio
    own = math.hypot(error_of_median(ratios), float(np.median(doubts)), carried)
    value, error = -10 * math.log10(ratio), 10 / math.log(10) * own / ratio
    scan = placement.scan.name
    return Results((Measurement(SNR, value, error, reason=how, scan=scan, channel="luma"),))
