"""Grain of scans of plain paper: in all, from scan to scan, in place, and what it says of light.

Small windows on a grid over the bed are read at full resolution and rid of their shading. The
standard deviation of their L* is the total noise (FADGI 2023 and ISO 19264-1 state noise so).
Two scans of the same paper tell its parts, by the two-frame method of ISO 15739 and of photon
transfer, var(A − B)/2 = var A − cov(A, B): what both scans share in place is fixed pattern; what
they share where the paper has moved to is the paper's grain; the rest is temporal. A paper that
lies still hides its grain in the fixed pattern, one whose grain is not found again hides it in
the temporal noise: then that part is not measurable, and the reason says what was seen.

Temporal variance of linear light over its level is shot noise on white paper: level over
variance counts the electrons at full scale (the light index). White calibration keeps the level
when the lamp fades and lifts the variance as 1 over light, so the index follows the lamp.
Pairs of dark scans separate read noise and gain. Noise of rounding to whole codes,
step²/12, is taken off for these; files with lossy compression cannot serve.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.model import (
    MM_PER_INCH,
    Channel,
    Floats,
    Measurement,
    Placement,
    Results,
    Window,
    not_measurable,
)
from scanqa.numeric.covariance import flatten
from scanqa.numeric.displacement import (
    Field,
    displacement,
    far_window,
    lies_still,
    moved_window,
    paper_field,
    shared_along,
)
from scanqa.numeric.lightness import lstar, luma

WINDOW_PX = 256
GRID = (5, 4)  # windows along travel and across
EDGE_MM = 12.0  # edge shadows bend more than a window's shading fit can follow
CLIPPED_SHARE = 0.02
DITHER = 1.0  # temporal variance over that of rounding, below which rounding is no noise
COLOURS: tuple[Channel, ...] = ("red", "green", "blue")


@dataclass(frozen=True, slots=True, eq=False)
class _Patch:
    """A window of one scan, linear light and its L* rid of shading."""

    window: Window
    light: Floats  # (rows, columns, channels)
    grain: Floats  # L*
    rounding: Floats  # variance of light that whole codes bring, each channel


@dataclass(frozen=True, slots=True)
class _Split:
    """Variances of one window in two scans: of L*, and of each channel's light (temporal)."""

    total: float
    in_place: float  # shared at displacement nought
    grain: float | None  # shared where the paper has moved to; None if not found there
    moved_px: tuple[float, float] | None  # (rows, columns)
    still: bool  # its grain is shared in place
    light_total: Floats  # each channel and luma last: total − shared in place
    light_grain: Floats
    level: Floats


def measure(placements: Sequence[Placement], dark: Sequence[Placement] = ()) -> Results:
    """Noise of blank scans.

    Parameters
    ----------
    placements : sequence of Placement
        Scans of plain white paper; the first two of like size and dpi are compared.
    dark : sequence of Placement
        Scans of a black card at the same setting; two give read noise and gain.

    Returns
    -------
    Results
        ``noise.total`` of each scan (L*); of the first pair ``noise.temporal``,
        ``noise.fixed_pattern``, ``noise.paper`` (L*), ``noise.snr`` (dB, linear luma),
        ``noise.light_index`` (thousand electrons at full scale), ``noise.gain`` (ppm of full
        scale) and ``noise.read`` (% of full scale) of each channel. The uncertainty is the
        standard error over the windows.
    """
    results = Results()
    patches = {id(placement): _patches(placement) for placement in placements}
    for placement in placements:
        results += Results((_total(placement, patches[id(placement)]),))
    if not placements:
        return results
    pair = _pair(placements)
    if pair is None:
        why = "it takes two scans of the same paper at the same setting; one alone gives the total"
        return results + _none(placements[0], why)
    one, other = pair
    if all(patch.grain.std() < 1e-6 for patch in patches[id(one)]):
        return results + _none(one, "the scan has no grain at all: it was processed or is clipped")
    splits = _splits(patches[id(one)], patches[id(other)], one, other)
    return results + _parts(one, splits, patches[id(one)], _dark_variance(dark))


# ---------------------------------------------------------------------------------- windows


def _windows(placement: Placement) -> Iterator[Window]:
    scan = placement.scan
    size = min(WINDOW_PX, scan.width_px, scan.height_px)
    places = []
    for length, dpi, count in (
        (scan.height_px, placement.dpi[1], GRID[0]),
        (scan.width_px, placement.dpi[0], GRID[1]),
    ):
        margin = min(round(EDGE_MM * dpi / MM_PER_INCH), max(length - size, 0) // 4)
        count = max(min(count, (length - 2 * margin) // size), 1)  # windows may not overlap
        places.append(np.unique(np.linspace(margin, length - margin - size, count).astype(int)))
    for row in places[0]:
        for col in places[1]:
            yield Window(int(row), int(col), size, size)


def _patches(placement: Placement) -> list[_Patch]:
    return [_patch(placement, window) for window in _windows(placement)]


def _patch(placement: Placement, window: Window) -> _Patch:
    codes = placement.scan.window(window)
    light = placement.light.light(codes)
    middle = codes.mean(axis=(0, 1), dtype=np.float64)[None]
    step = placement.light.light(middle + 0.5) - placement.light.light(middle - 0.5)
    return _Patch(
        window,
        light.astype(np.float64),
        flatten(lstar(luma(light))),
        np.asarray(step[0], np.float64) ** 2 / 12,
    )


def _pair(placements: Sequence[Placement]) -> tuple[Placement, Placement] | None:
    def kind(placement: Placement) -> object:
        scan = placement.scan
        return scan.width_px, scan.height_px, scan.channels, placement.dpi

    for index, one in enumerate(placements):
        for other in placements[index + 1 :]:
            if kind(one) == kind(other):
                return one, other
    return None


# ---------------------------------------------------------------------------------- kernels


def _planes(light: Floats) -> list[Floats]:
    """Channels of a window rid of shading, luma last (grey: the one channel)."""
    if light.shape[-1] == 1:
        return [flatten(light[..., 0])]
    return [flatten(light[..., channel]) for channel in range(3)] + [flatten(luma(light))]


def _splits(
    ones: Sequence[_Patch], others: Sequence[_Patch], first: Placement, second: Placement
) -> list[_Split]:
    """The parts of every window; the paper's grain where the field of its displacement says."""
    found = [_moved(one, other, first, second) for one, other in zip(ones, others, strict=True)]
    field = paper_field([one.window for one in ones], found)
    return [_split(one, other, field, second) for one, other in zip(ones, others, strict=True)]


def _moved(
    one: _Patch, other: _Patch, first: Placement, second: Placement
) -> tuple[float, float] | None:
    """Rows and columns by which the paper under a window has moved, if that can be seen."""
    found = displacement(one.grain, other.grain)
    if found is not None:
        return found[:2]
    if lies_still(one.grain, other.grain):
        return None
    window = far_window(one.window, first, second)
    if window is None:
        return None
    light = luma(second.light.light(second.scan.window(window)))
    found = displacement(one.grain, flatten(lstar(light)), anywhere=True)
    if found is None:
        return None
    return found[0] + window.row - one.window.row, found[1] + window.col - one.window.col


def _split(one: _Patch, other: _Patch, field: Field | None, second: Placement) -> _Split:
    planes, others = _planes(one.light), _planes(other.light)
    there = None if field is None else moved_window(one.window, field, second)
    grain, of_light = None, np.zeros(len(planes))
    if field is not None and there is not None:
        patch = _patch(second, there)
        shared = shared_along(
            [one.grain, *planes], [patch.grain, *_planes(patch.light)], one.window, there, field
        )
        grain, of_light = float(shared[0]), shared[1:]
    means = np.concatenate([one.light.mean(axis=(0, 1)), [float(luma(one.light).mean())]])
    return _Split(
        total=float(one.grain.var() + other.grain.var()) / 2,
        in_place=float(np.mean(one.grain * other.grain)),
        grain=grain,
        moved_px=None
        if field is None
        else field(one.window.row + one.window.height / 2, one.window.col + one.window.width / 2),
        still=lies_still(one.grain, other.grain),
        light_total=np.array(
            [
                (float(np.var(a)) + float(np.var(b))) / 2 - float(np.mean(a * b))
                for a, b in zip(planes, others, strict=True)
            ]
        ),
        light_grain=of_light,
        level=means[-1:] if len(planes) == 1 else means,
    )


def _dark_variance(dark: Sequence[Placement]) -> tuple[Floats, Floats, Floats] | None:
    """Temporal variance of light in a pair of dark scans, its error, and the level: by channel."""
    pair = _pair(dark)
    if pair is None or any(placement.scan.lossy for placement in pair):
        return None
    variances, levels = [], []
    for a, b in zip(_patches(pair[0]), _patches(pair[1]), strict=True):
        differences = [flatten(d) for d in np.moveaxis(a.light - b.light, -1, 0)]
        variance = np.array([float(np.var(d)) / 2 for d in differences])
        variances.append(np.where(variance > (1 + DITHER) * a.rounding, variance - a.rounding, 0))
        levels.append(a.light.mean(axis=(0, 1)))
    found = np.array(variances)
    errors = np.array([_median_error(column) for column in found.T])
    return np.median(found, axis=0), errors, np.median(levels, axis=0)


# ---------------------------------------------------------------------------------- results


def _total(placement: Placement, patches: Sequence[_Patch]) -> Measurement:
    values = np.array([patch.grain.std() for patch in patches])
    clipped = placement.overview.top_share > CLIPPED_SHARE
    return Measurement(
        "noise.total",
        float(np.median(values)),
        _median_error(values),
        status="lower-bound" if clipped else "ok",
        reason=f"{100 * placement.overview.top_share:.1f} % of the samples are at the top of the "
        "scale, which hides part of the noise: the value is the least it can be"
        if clipped
        else "",
        scan=placement.scan.name,
        channel="luma",
    )


def _median_error(values: Floats) -> float:
    """Standard error of a median of windows, 1.2533 that of their mean."""
    return 1.2533 * float(values.std(ddof=1)) / math.sqrt(len(values)) if len(values) > 1 else 0.0


def _parts(
    placement: Placement,
    splits: Sequence[_Split],
    patches: Sequence[_Patch],
    dark: tuple[Floats, Floats, Floats] | None,
) -> Results:
    total = np.array([split.total for split in splits])
    in_place = np.array([split.in_place for split in splits])
    found = [index for index, split in enumerate(splits) if split.grain is not None]
    if len(found) >= 0.5 * len(splits):
        grain = np.array([splits[index].grain for index in found], np.float64)
        how = (
            f"the paper moved by {_moved_words([splits[i] for i in found], placement)}; "
            "its grain was lined up and taken off"
        )
        parts = {
            "noise.temporal": total[found] - in_place[found] - grain,
            "noise.fixed_pattern": in_place,
            "noise.paper": grain,
        }
        used = found
        missing = Results()
    elif 2 * sum(split.still for split in splits) > len(splits):
        how = "the paper lay still"
        together = math.sqrt(float(np.median(in_place)))
        why = (
            "the paper did not move between the scans, so its grain looks like a fixed pattern "
            f"(together {together:.2f} L*); move it by a few millimetres and scan again"
        )
        parts = {"noise.temporal": total - in_place}
        used = list(range(len(splits)))
        missing = _missing(placement, why, "noise.fixed_pattern", "noise.paper")
    else:
        together = math.sqrt(max(float(np.median(total - in_place)), 0.0))
        why = (
            "the paper moved and its grain was not found again, so it cannot be told from noise "
            f"(together {together:.2f} L*); move it by a few millimetres without turning it, or "
            "scan twice without moving it"
        )
        fixed = _value("noise.fixed_pattern", placement, in_place, "")
        return Results((fixed,)) + _missing(
            placement, why, "noise.temporal", "noise.paper", "noise.snr", *_OF_LIGHT
        )
    values = tuple(_value(name, placement, part, how) for name, part in parts.items())
    kept = [splits[index] for index in used]
    rounding = np.array([patches[index].rounding for index in used])
    return (
        Results(values)
        + missing
        + _snr(placement, kept, how)
        + _light(placement, kept, rounding, dark)
    )


def _moved_words(moved: Sequence[_Split], placement: Placement) -> str:
    shifts = [split.moved_px for split in moved if split.moved_px is not None]
    rows, columns = np.median(np.array(shifts), axis=0)
    across, travel = (
        shift * MM_PER_INCH / dpi for shift, dpi in zip((columns, rows), placement.dpi, strict=True)
    )
    return f"{across:+.2f} mm across and {travel:+.2f} mm along travel"


def _snr(placement: Placement, splits: Sequence[_Split], how: str) -> Results:
    ratios = np.array([(s.light_total[-1] - s.light_grain[-1]) / s.level[-1] ** 2 for s in splits])
    ratio = float(np.median(ratios))
    if ratio <= 0:
        return _missing(placement, "the two scans do not differ at all", "noise.snr")
    error = 10 / math.log(10) * _median_error(ratios) / ratio
    return Results(
        (
            Measurement(
                "noise.snr",
                -10 * math.log10(ratio),
                error,
                reason=how,
                scan=placement.scan.name,
                channel="luma",
            ),
        )
    )


_OF_LIGHT = ("noise.light_index", "noise.gain", "noise.read")


def _light(
    placement: Placement,
    splits: Sequence[_Split],
    rounding: Floats,
    dark: tuple[Floats, Floats, Floats] | None,
) -> Results:
    """Light index, gain and read noise of each channel."""
    if placement.scan.lossy:
        why = "the file is lossily compressed, which changes the noise of its pixels"
        return _missing(placement, why, *_OF_LIGHT)
    results = Results()
    channels: tuple[Channel, ...] = COLOURS if placement.scan.channels == 3 else ("luma",)
    for index, channel in enumerate(channels):
        raw = np.array([s.light_total[index] - s.light_grain[index] for s in splits])
        variance = raw - rounding[:, index]
        level = np.array([s.level[index] for s in splits])
        if np.median(variance) < DITHER * np.median(rounding[:, index]):
            why = (
                "the noise is smaller than the steps of the codes; scan with 16 bits per channel "
                "to see it"
            )
            results += _missing(placement, why, *_OF_LIGHT, channel=channel)
            continue
        per_level = variance / level  # of shot noise alone: the gain, everywhere the same
        middle, error = float(np.median(per_level)), _median_error(per_level)
        index_value = 1e-3 / middle
        results += Results(
            (_of_channel("noise.light_index", index_value, index_value * error / middle,
                         placement, channel),)
        )  # fmt: skip
        results += _transfer(placement, channel, index, variance, level, dark)
    return results


def _transfer(
    placement: Placement,
    channel: Channel,
    index: int,
    variance: Floats,
    level: Floats,
    dark: tuple[Floats, Floats, Floats] | None,
) -> Results:
    """Straight line of variance over level through the white windows and the dark scans."""
    if dark is None or len(dark[0]) <= index:
        why = (
            "it takes two scans of a black card beside the white ones, at the same setting and "
            "without lossy compression"
        )
        return _missing(placement, why, "noise.gain", "noise.read", channel=channel)
    of_dark, error_of_dark, dark_level = (float(part[index]) for part in dark)
    if of_dark <= 0:
        why = "the dark scans do not differ by more than the rounding of their codes"
        return _missing(placement, why, "noise.gain", "noise.read", channel=channel)
    slopes = (variance - of_dark) / (level - dark_level)
    gain = float(np.median(slopes))
    read_variance = of_dark - gain * dark_level
    error_of_gain = math.hypot(
        _median_error(slopes), error_of_dark / float(np.median(level) - dark_level)
    )
    out = [_of_channel("noise.gain", 1e6 * gain, 1e6 * error_of_gain, placement, channel)]
    if read_variance <= 0:
        why = "the noise of the dark scans is no more than the shot noise of their stray light"
        return Results(tuple(out)) + _missing(placement, why, "noise.read", channel=channel)
    read = math.sqrt(read_variance)
    error_of_read = math.hypot(error_of_dark, dark_level * error_of_gain) / (2 * read)
    out.append(_of_channel("noise.read", 100 * read, 100 * error_of_read, placement, channel))
    return Results(tuple(out))


def _of_channel(
    name: str, value: float, error: float, placement: Placement, channel: Channel
) -> Measurement:
    return Measurement(name, value, error, scan=placement.scan.name, channel=channel)


def _value(name: str, placement: Placement, variances: Floats, how: str) -> Measurement:
    """Root of the median variance, and √(v + u) − √v: also right where there is hardly any."""
    variance = max(float(np.median(variances)), 0.0)
    value = math.sqrt(variance)
    error = math.sqrt(variance + _median_error(variances)) - value
    return Measurement(name, value, error, reason=how, scan=placement.scan.name, channel="luma")


def _missing(placement: Placement, why: str, *names: str, channel: Channel = "luma") -> Results:
    scan = placement.scan.name
    return Results(tuple(not_measurable(name, why, scan, channel=channel) for name in names))


def _none(placement: Placement, why: str) -> Results:
    return _missing(
        placement,
        why,
        "noise.temporal",
        "noise.fixed_pattern",
        "noise.paper",
        "noise.snr",
        *_OF_LIGHT,
    )
