"""What one page alone can show: size, cropping, dpi, mode, compression, clipping, resampling.

Each against the pages the job began with. Where those already vary (a driver that crops each page
as it likes) nothing is said of what varies.
"""

from __future__ import annotations

import statistics
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

from scanqa.model.watched import EventKind
from scanqa.watch.features import PageFeatures

START = 5  # pages
MOST_ALIKE = 4  # of them, for a setting to be one
SAME_SIZE = 0.005  # of a side
SAME_DPI = 0.005
CLIPPED = 0.005  # share of samples beyond what the start has
BLOCKS, BLOCKS_BEFORE = 1.04, 1.025  # a page that went through JPEG; one that did not
COARSER = 1.15  # of the quantisation steps
RESAMPLED, BEFORE = 12.0, 9.0  # strongest period of the grain; of every page of the start
GAPS, GAPS_BEFORE = 0.06, 0.02  # codes that never occur

T = TypeVar("T")
Found = tuple[EventKind, str, str]  # kind, as it was, as it is


@dataclass(frozen=True, slots=True)
class Usual:
    """How the job began; None where it varied from the start."""

    size: tuple[int, int] | None
    dpi: tuple[float, float] | None
    dpi_varies: bool
    mode: tuple[int, int] | None
    lossy: bool
    jpeg_step: float | None
    blocks: float
    clipped: float
    resampled: float
    gaps: float
    device: str


def usual_of(pages: Sequence[PageFeatures]) -> Usual:
    """The settings of the first pages."""
    size = _common([(p.width_px, p.height_px) for p in pages])
    dpis = {p.dpi for p in pages}
    dpi = _common([p.dpi for p in pages])
    steps = [p.jpeg_step for p in pages if p.jpeg_step is not None]
    return Usual(
        size=size,
        dpi=dpi,
        dpi_varies=dpi is None and dpis != {None},
        mode=_common([(p.channels, p.bits) for p in pages]),
        lossy=bool(steps) or statistics.median(p.blocks for p in pages) > BLOCKS_BEFORE,
        jpeg_step=max(steps) if steps else None,
        blocks=statistics.median(p.blocks for p in pages),
        clipped=max(p.clipped for p in pages),
        resampled=max(p.resampled for p in pages),
        gaps=max(p.gaps for p in pages),
        device=_common([p.device for p in pages]) or "",
    )


def one_page(usual: Usual, page: PageFeatures) -> list[Found]:
    """What is unlike the start on a page, as kinds with what was and what is."""
    found = [*_size(usual, page)]
    if usual.mode is not None and usual.mode != (page.channels, page.bits):
        found.append(("mode", _mode(*usual.mode), _mode(page.channels, page.bits)))
    if page.clipped > usual.clipped + CLIPPED:
        found.append(("clipped", f"{usual.clipped:.1%}", f"{page.clipped:.1%}"))
    found += _compression(usual, page)
    lossy = page.jpeg_step is not None or page.blocks > BLOCKS_BEFORE or usual.lossy
    if not lossy and page.resampled > RESAMPLED and usual.resampled < BEFORE:
        found.append(("resampling", "", ""))
    if page.gaps > GAPS and usual.gaps < GAPS_BEFORE:
        found.append(("levels", f"{usual.gaps:.0%}", f"{page.gaps:.0%}"))
    return found


def is_other_way(usual: Usual, page: PageFeatures) -> bool:
    """Whether a page lies on its side: width and height changed places."""
    if usual.size is None:
        return False
    sides = zip((page.height_px, page.width_px), usual.size, strict=True)
    return usual.size[0] != usual.size[1] and all(_alike(a, b, SAME_SIZE) for a, b in sides)


def compressed_otherwise(usual: Usual, page: PageFeatures) -> bool:
    """Whether the page was compressed more, or less, than the start: its columns show other things.

    JPEG flattens the column pattern, so that every strong column would seem to be a line.
    """
    lossy = page.jpeg_step is not None or page.blocks > BLOCKS_BEFORE
    return lossy != usual.lossy or bool(_compression(usual, page))


def _size(usual: Usual, page: PageFeatures) -> list[Found]:
    here = (page.width_px, page.height_px)
    if not usual.dpi_varies and (usual.dpi is None) != (page.dpi is None):
        return [("dpi", _dpi(usual.dpi), _dpi(page.dpi))]
    both = zip(page.dpi, usual.dpi, strict=True) if usual.dpi and page.dpi else ()
    if any(not _alike(a, b, SAME_DPI) for a, b in both):
        return [("dpi", _dpi(usual.dpi), _dpi(page.dpi))]
    if usual.size is None or is_other_way(usual, page):
        return []
    ratios = [a / b - 1 for a, b in zip(here, usual.size, strict=True)]
    if all(abs(ratio) <= SAME_SIZE for ratio in ratios):
        return []
    kind: EventKind = "crop" if max(ratios) <= SAME_SIZE else "size"
    return [(kind, _px(usual.size), _px(here))]


def _compression(usual: Usual, page: PageFeatures) -> list[Found]:
    if page.jpeg_step is not None:
        if usual.jpeg_step is None:
            return [("compression", "", page.format)]
        if page.jpeg_step > COARSER * usual.jpeg_step:
            return [("compression", f"{usual.jpeg_step:.1f}", f"{page.jpeg_step:.1f}")]
        return []
    if usual.jpeg_step is None and usual.blocks < BLOCKS_BEFORE and page.blocks > BLOCKS:
        return [("compression", "", "blocks")]
    return []


def _common(values: Sequence[T]) -> T | None:
    value, count = Counter(values).most_common(1)[0]
    return value if count >= min(MOST_ALIKE, len(values)) else None


def _alike(one: float, other: float, share: float) -> bool:
    return abs(one / other - 1) <= share


def _px(size: tuple[int, int]) -> str:
    return f"{size[0]} × {size[1]} px"


def _dpi(dpi: tuple[float, float] | None) -> str:
    return "no dpi" if dpi is None else f"{dpi[0]:g} dpi"


def _mode(channels: int, bits: int) -> str:
    return f"{'colour' if channels == 3 else 'grey'}, {bits} bits"
