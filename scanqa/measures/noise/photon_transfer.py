"""What noise says of light: electrons at full scale, gain and read noise of each channel.

Temporal variance of linear light over its level is shot noise on white paper: level over
variance counts the electrons at full scale (the light index). White calibration keeps the level
when the lamp fades and lifts the variance as 1 over light, so the index follows the lamp. Pairs of
dark scans separate read noise and gain. Noise of rounding to whole codes, step²/12, is taken off;
files with lossy compression cannot serve.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.measures.noise.covariance import flatten
from scanqa.measures.noise.stated import error_of_median, missing, of_channel
from scanqa.measures.noise.two_frames import Split
from scanqa.measures.noise.windows import like_pair, samples
from scanqa.model import COLOURS, Channel, Floats, Placement, Reason, Results

DITHER = 1.0  # temporal variance over that of rounding, below which rounding is no noise
INDEX, GAIN, READ = "noise.light_index", "noise.gain", "noise.read"
OF_LIGHT = (INDEX, GAIN, READ)


@dataclass(frozen=True, slots=True, eq=False)
class DarkNoise:
    """Temporal variance of light in dark scans, its error, and the level, each (channels,)."""

    variance: Floats
    error: Floats
    level: Floats


def dark_noise(darks: Sequence[Placement]) -> DarkNoise | None:
    """Noise of the first like pair of dark scans; None without one that is not lossy."""
    pair = like_pair(darks)
    if pair is None or any(placement.scan.lossy for placement in pair):
        return None
    variances, levels = [], []
    for a, b in zip(samples(pair[0]), samples(pair[1]), strict=True):
        differences = [flatten(d) for d in np.moveaxis(a.light - b.light, -1, 0)]
        variance = np.array([float(np.var(d)) / 2 for d in differences])
        variances.append(np.where(variance > (1 + DITHER) * a.rounding, variance - a.rounding, 0))
        levels.append(a.light.mean(axis=(0, 1)))
    found = np.array(variances)
    errors = np.array([error_of_median(column) for column in found.T])
    return DarkNoise(np.median(found, axis=0), errors, np.median(levels, axis=0))


def noise_of_light(
    placement: Placement, splits: Sequence[Split], rounding: Floats, dark: DarkNoise | None
) -> Results:
    """Light index, gain and read noise of each channel.

    Parameters
    ----------
    placement : Placement
        The scan whose name they bear.
    splits : sequence of Split
        Windows of white paper.
    rounding : (windows, channels)
        Variance of light that whole codes bring.
    dark : DarkNoise or None
        Of black card at the same setting.
    """
    if placement.scan.lossy:
        why = "the file is lossily compressed, which changes the noise of its pixels"
        return missing(placement, Reason("compression", why), *OF_LIGHT)
    results = Results()
    channels: tuple[Channel, ...] = COLOURS if placement.scan.channels == 3 else ("luma",)
    for index, channel in enumerate(channels):
        variance = np.array([s.light_temporal[index] for s in splits]) - rounding[:, index]
        level = np.array([s.level[index] for s in splits])
        if np.median(variance) < DITHER * np.median(rounding[:, index]):
            why = (
                "the noise is smaller than the steps of the codes; scan with 16 bits per channel "
                "to see it"
            )
            results += missing(placement, Reason("rounding", why), *OF_LIGHT, channel=channel)
            continue
        per_level = variance / level  # of shot noise alone: the gain, everywhere the same
        doubt = np.array([s.light_doubt[index] for s in splits])
        middle = float(np.median(per_level))
        error = math.hypot(error_of_median(per_level), float(np.median(doubt / level)))
        electrons = 1e-3 / middle
        value = of_channel(INDEX, electrons, electrons * error / middle, placement, channel)
        results += Results((value,))
        of_dark = _dark_of_channel(dark, index)
        if isinstance(of_dark, Reason):
            results += missing(placement, of_dark, GAIN, READ, channel=channel)
        else:
            results += _transfer(placement, channel, variance, level, of_dark, doubt)
    return results


def _dark_of_channel(dark: DarkNoise | None, index: int) -> tuple[float, float, float] | Reason:
    """Variance, its error and the level of one channel of the dark scans, or why not."""
    if dark is None or len(dark.variance) <= index:
        return Reason(
            "no-scan",
            "it takes two scans of a black card beside the white ones, at the same setting and "
            "without lossy compression",
        )
    if dark.variance[index] <= 0:
        why = "the dark scans do not differ by more than the rounding of their codes"
        return Reason("rounding", why)
    return float(dark.variance[index]), float(dark.error[index]), float(dark.level[index])


def _transfer(
    placement: Placement,
    channel: Channel,
    variance: Floats,
    level: Floats,
    dark: tuple[float, float, float],
    doubt: Floats,
) -> Results:
    """Straight line of variance over level through the white windows and the dark scans."""
    of_dark, error_of_dark, dark_level = dark
    slopes = (variance - of_dark) / (level - dark_level)
    gain = float(np.median(slopes))
    read_variance = of_dark - gain * dark_level
    off = math.hypot(error_of_dark, float(np.median(doubt)))
    error_of_gain = math.hypot(error_of_median(slopes), off / float(np.median(level) - dark_level))
    gains = Results((of_channel(GAIN, 1e6 * gain, 1e6 * error_of_gain, placement, channel),))
    if read_variance <= 0:
        why = "the noise of the dark scans is no more than the shot noise of their stray light"
        return gains + missing(placement, Reason("noise", why), READ, channel=channel)
    read = math.sqrt(read_variance)
    error_of_read = math.hypot(error_of_dark, dark_level * error_of_gain) / (2 * read)
    return gains + Results((of_channel(READ, 100 * read, 100 * error_of_read, placement, channel),))
