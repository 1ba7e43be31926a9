"""What differs between two scans of one object at one place, where its texture cancels.

Whether a scan is such a repeat is seen twice. *Windows*: the cross-correlation of those at the same
place has its clear peak at nought, to a part of a pixel; a peak elsewhere says that it moved.
*Previews*: of paper that shows too little in the windows, the same, to a part of a block. What
stays with the device (columns, flicker of rows) is no sign of either. Two scans never start at
the same place to the last part of a pixel, and no lamp is twice as bright: what such a shift, a
little unsteady along travel, and a gain leave of the texture is fitted and taken off.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Linear, Overview, Placement, Window
from scanqa.numeric.spread import sigma_about_zero
from scanqa.reading.bed_light import clouds, luma_of_preview

MOST_TOP = 0.001  # of the pixels of a window: grain that is cut off differs no more
MOST_TRIED = 3  # of scans that are alike
CLEAR = 8.0  # height of a peak over the scatter
STILL_PX = 0.35  # a larger shift leaves more than a slope can tell
STILL_BLOCKS = 0.4
AXES = 2  # frequencies beside nought that belong to the device
STRIP = 8  # rows along which a shift is steady
BACKGROUND_BLOCKS = 12.0
DARKEST = 1e-3  # light


def repeat_of(
    placement: Placement,
    others: Sequence[Placement],
    windows: Sequence[Window],
    codes: Floats,
) -> Floats | None:
    """Difference to a scan of the same at the same place, over √2; None if there is no such scan.

    Parameters
    ----------
    placement : Placement
        The scan.
    others : sequence of Placement
        Those among which a repeat is sought.
    windows : sequence of Window
        Where.
    codes : (n, rows, columns, channels)
        What the scan shows there.

    Returns
    -------
    (n, rows, columns, channels) or None
        As strong as the grain of one scan, without what both share.
    """
    for other in list(_alike(placement, others))[:MOST_TRIED]:
        again = np.array([other.scan.window(window) for window in windows], np.float64)
        at_top = np.mean(again >= other.overview.top_code, axis=(1, 2)).max()
        if at_top > MOST_TOP or np.array_equal(codes, again):
            continue
        moved = _moved_px(codes.mean(axis=-1), again.mean(axis=-1))
        still = _same_place(placement, other) if moved is None else max(map(abs, moved)) < STILL_PX
        if still:
            return np.asarray(_unlike(codes, again) / np.sqrt(2))
    return None


def _alike(placement: Placement, others: Sequence[Placement]) -> Iterator[Placement]:
    def kind(each: Placement) -> tuple[object, ...]:
        scan = each.scan
        size = scan.width_px, scan.height_px, scan.channels, scan.bits
        return *size, each.dpi, scan.lossy, each.role

    for other in others:
        if other.scan is not placement.scan and kind(other) == kind(placement):
            yield other


def _moved_px(ones: Floats, others: Floats) -> tuple[float, float] | None:
    """By how much all windows have moved, rows and columns; None if they share nothing clear."""
    taper = np.hanning(ones.shape[1])[:, np.newaxis] * np.hanning(ones.shape[2])
    first, second = (
        np.fft.fft2((each - each.mean(axis=(1, 2), keepdims=True)) * taper)
        for each in (ones, others)
    )
    cross = np.sum(first.conj() * second, axis=0)
    cross[: AXES + 1] = cross[-AXES:] = 0
    cross[:, : AXES + 1] = cross[:, -AXES:] = 0
    return _peak(np.fft.ifft2(cross).real)


def _same_place(one: Placement, other: Placement) -> bool:
    first, second = (_spectrum(each.overview, each.light) for each in (one, other))
    moved = _peak(np.fft.irfft2(first.conj() * second, one.overview.preview.shape[:2]))
    return moved is not None and max(map(abs, moved)) < STILL_BLOCKS


@lru_cache(maxsize=2)  # each of two scans is compared with the other
def _spectrum(overview: Overview, light: Linear) -> NDArray[np.complex128]:
    """Of the logarithm of the preview, rid of what belongs to the device."""
    return np.fft.rfft2(clouds(luma_of_preview(overview, light), BACKGROUND_BLOCKS, DARKEST))


def _peak(surface: Floats) -> tuple[float, float] | None:
    """Place of the highest value of a cyclic correlation, by a parabola; None if not clear."""
    scatter = max(float(sigma_about_zero(surface.ravel())), 1e-300)
    row, column = divmod(int(np.argmax(surface)), surface.shape[1])
    if surface[row, column] < CLEAR * scatter:
        return None
    place = []
    for axis, at in enumerate((row, column)):
        line = np.take(surface, column if axis == 0 else row, axis=1 - axis)
        count = len(line)
        before, here, after = line[at - 1], line[at], line[(at + 1) % count]
        part = (after - before) / (2 * (2 * here - before - after))
        place.append(float((at + count // 2) % count - count // 2 + part))
    return place[0], place[1]


def _unlike(ones: Floats, others: Floats) -> Floats:
    """Differences less the part that a small shift and a gain make of what both show."""
    out = ones - others
    both = (ones + others) / 2
    slopes = (*np.gradient(both, axis=(1, 2)), both)
    for top in range(0, out.shape[1], STRIP):
        strip = np.s_[:, top : top + STRIP]
        left = _flat(out[strip])
        basis = np.stack([_flat(slope[strip]) for slope in slopes], axis=-1)
        moment = np.einsum("nkcb,nkc->ncb", basis, left)
        matrix = np.einsum("nkcb,nkcd->ncbd", basis, basis)
        matrix += 1e-9 * np.trace(matrix, axis1=2, axis2=3)[..., None, None] * np.eye(3)
        share = np.linalg.solve(matrix + 1e-12 * np.eye(3), moment[..., None])[..., 0]
        left -= np.einsum("nkcb,ncb->nkc", basis, share)
        out[strip] = left.reshape(out[strip].shape)
    return out


def _flat(strip: Floats) -> Floats:
    """Pixels of each window and channel in one line, about their mean."""
    line = strip.reshape(len(strip), -1, strip.shape[-1])
    return np.asarray(line - line.mean(axis=1, keepdims=True))
