"""A file becomes the features of a page: read once, then measured."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from scanqa.locate.find_tags import detect
from scanqa.scans.jpeg_steps import mean_step
from scanqa.scans.linear import linear
from scanqa.scans.one_pass import OnePass, read_once
from scanqa.scans.open import open_scan
from scanqa.watch.bare_paper import bare_paper, log_light
from scanqa.watch.column_lines import columns_of
from scanqa.watch.features import PageFeatures, Shows, rounded
from scanqa.watch.fine_grain import fine_of, texture_of
from scanqa.watch.paper_light import PaperLight, paper_light

TAGS_OF_A_SHEET = 3
TAG_STEP = 3  # reduced samples: a tag of 20 mm still has 40 a side


def measure_page(path: Path, *, curve: str | None = None) -> PageFeatures:
    """Read a page and measure it.

    Parameters
    ----------
    path : Path
        TIFF, PNG or JPEG.
    curve : str or None
        Tone curve, as `scanqa.scans.linear.linear` takes it.

    Raises
    ------
    UnreadableScan
        If the file is no scan, damaged, or not yet whole.
    """
    before = path.stat()
    scan = open_scan(path)
    light = linear(scan, curve=curve)
    once = read_once(scan)
    logs = log_light(once.reduced, light)
    paper = bare_paper(logs)
    seen = paper_light(once.reduced, logs, paper, light)
    shows = _shows(once, seen, paper.tag_like)
    fine = fine_of(once.samples, once.codes, lossy=scan.lossy)
    return PageFeatures(
        file=path.name,
        sha256=once.sha256,
        modified_ns=before.st_mtime_ns,
        size=before.st_size,
        shows=shows,
        width_px=scan.width_px,
        height_px=scan.height_px,
        channels=scan.channels,
        bits=scan.bits,
        format=scan.format,
        device=scan.header.device,
        dpi=scan.dpi,
        step_px=once.step_px,
        columns=rounded(columns_of(paper)),
        bare=seen.bare,
        light=seen.light,
        tint=seen.tint,
        across=seen.across,
        clipped=once.top_share,
        blocked=once.bottom_share,
        grain=fine.grain,
        texture=texture_of(once.samples) if shows == "blank" else None,
        edges=fine.edges,
        blocks=fine.blocks,
        jpeg_step=mean_step(path) if scan.format == "jpeg" else None,
        resampled=fine.resampled,
        gaps=fine.gaps,
        skew_deg=seen.skew_deg,
        curve_assumed=light.assumed,
    )


def _shows(once: OnePass, seen: PaperLight, tag_like: int) -> Shows:
    """A page, unless it is plain paper all over or bears our tags."""
    if seen.blank:
        return "blank"
    if tag_like < TAGS_OF_A_SHEET:
        return "page"
    coarse = once.reduced[::TAG_STEP, ::TAG_STEP]
    grey = coarse[..., coarse.shape[2] // 2]
    eight = grey if grey.dtype == np.uint8 else (grey >> 8).astype(np.uint8)
    tags = detect(np.ascontiguousarray(eight), float(TAG_STEP * once.step_px))
    return "sheet" if len(tags) >= TAGS_OF_A_SHEET else "page"
