"""What is kept of a page: small, frozen, and all that judging needs."""

from __future__ import annotations

import base64
import zlib
from dataclasses import dataclass, fields
from typing import Any, Literal

import numpy as np

from scanqa.model import Array
from scanqa.watch.column_lines import Columns

Shows = Literal["page", "blank", "sheet"]
BANDS = 16  # across the page, for the light along the sensor line


@dataclass(frozen=True, slots=True, eq=False)
class PageFeatures:
    """One page, measured without a target.

    Attributes
    ----------
    file : str
        Name inside the folder.
    modified_ns, size : int
        Of the file: what is looked at to tell that it is still the same.
    shows : str
        ``page``, ``blank`` (plain paper over the whole scan) or ``sheet`` (one of scanqa's).
    step_px : int
        Samples of the file a column of `columns` stands for.
    columns : Columns
        Per cent of light, as delivered: turned pages are turned here too.
    bare : float
        Share of bare paper.
    light : float
        Log light of bare paper.
    tint : (float, float) or None
        Log of red and of blue over green there; None in grey.
    across : tuple of float
        Per cent of light of bare paper in bands across, against its median; NaN without paper.
    clipped, blocked : float
        Share of samples at the top and at the bottom of the scale.
    grain : float or None
        Of bare paper, codes of 255: vertical second difference over √6.
    texture : (float, float) or None
        Of bare paper, left and right half: covariance of neighbours over that of next neighbours.
    edges : (float, float) or None
        Steepness of the print's edges, left and right half; None with too few.
    blocks : float
        How much one phase of eight columns stands out in the third difference; 1 is lossless.
    jpeg_step : float or None
        Geometric mean of the quantisation steps of a JPEG file.
    resampled : float
        Strongest period of the grain's variance along rows, of the usual.
    gaps : float
        Share of codes that never occur between ones that do.
    skew_deg : float or None
        Of the lines of print.
    curve_assumed : bool
        Whether neither file nor user says how codes become light.
    """

    file: str
    sha256: str
    modified_ns: int
    size: int
    shows: Shows
    width_px: int
    height_px: int
    channels: int
    bits: int
    format: str
    device: str
    dpi: tuple[float, float] | None
    step_px: int
    columns: Columns
    bare: float
    light: float
    tint: tuple[float, float] | None
    across: tuple[float, ...]
    clipped: float
    blocked: float
    grain: float | None
    texture: tuple[float, float] | None
    edges: tuple[float, float] | None
    blocks: float
    jpeg_step: float | None
    resampled: float
    gaps: float
    skew_deg: float | None
    curve_assumed: bool

    @property
    def px_mm(self) -> float | None:
        """Samples per mm across; None without dpi."""
        return None if self.dpi is None else self.dpi[0] / 25.4

    @property
    def seen(self) -> tuple[int, int]:
        """Time of change and size, as `scanqa.scans.incoming.look` gives them."""
        return self.modified_ns, self.size


STEP_PERCENT = 0.002  # of the columns, as kept
UNKNOWN = -32768


def as_plain(page: PageFeatures) -> dict[str, Any]:
    """For JSON; NaN (in `across`) becomes None, columns become text."""
    made: dict[str, Any] = {}
    for each in fields(page):
        value = getattr(page, each.name)
        if isinstance(value, Columns):
            value = {part.name: _packed(getattr(value, part.name)) for part in fields(value)}
        elif isinstance(value, tuple):
            value = [None if item != item else item for item in value]
        made[each.name] = value
    return made


def from_plain(made: dict[str, Any]) -> PageFeatures:
    """The page that `as_plain` wrote.

    Raises
    ------
    ValueError, KeyError, TypeError
        If it is something else.
    """
    given = dict(made)
    given["columns"] = Columns(**{k: _unpacked(v) for k, v in made["columns"].items()})
    for name in ("dpi", "tint", "texture", "edges"):
        given[name] = None if made[name] is None else tuple(map(float, made[name]))
    given["across"] = tuple(float("nan") if v is None else float(v) for v in made["across"])
    return PageFeatures(**given)


def rounded(columns: Columns) -> Columns:
    """Columns as they come back from the journal, so that a page is judged alike before and after.

    Parameters
    ----------
    columns : Columns
        Just measured.
    """
    return Columns(
        **{f.name: _unpacked(_packed(getattr(columns, f.name))) for f in fields(columns)}
    )


def _packed(values: Array) -> str:
    known = np.isfinite(values)
    steps = np.where(known, np.clip(np.nan_to_num(values) / STEP_PERCENT, -32000, 32000), UNKNOWN)
    return base64.b64encode(zlib.compress(np.rint(steps).astype("<i2").tobytes(), 6)).decode()


def _unpacked(text: str) -> Array:
    try:
        steps = np.frombuffer(zlib.decompress(base64.b64decode(text)), "<i2")
    except zlib.error as error:
        raise ValueError(str(error)) from error
    values = steps.astype(np.float32) * np.float32(STEP_PERCENT)
    values[steps == UNKNOWN] = np.nan
    return values
