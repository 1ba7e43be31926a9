"""From a scan to its frame in millimetres and its role.

A sheet is known by its tags (`tags`, `frame`); paper without a sheet by what it looks like
(`role`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from scanqa.errors import MirroredScan, UnreadableScan
from scanqa.locate.find_tags import (
    FoundTag,
    by_blocks,
    detect,
    finer_picture,
    mirrored,
    picture,
    refine,
)
from scanqa.locate.frame import Frame, frames
from scanqa.locate.role import LONG_SIDE_MM, Look, look_at, plain_part
from scanqa.model import (
    MM_PER_INCH,
    Linear,
    Overview,
    Placement,
    Point,
    Role,
    Scan,
    Side,
    Window,
)
from scanqa.numeric.lightness import mean_of_channels
from scanqa.reading.paper_border import Box

SAME_DPI = 0.02  # a sheet that shows another dpi than the stated one by more is told
# A dpi that is wrong is another of those that drivers offer; a sheet that a printer fitted to its
# page is some per cent too small (common practice, no source).
WRONG_DPI = 0.12  # a file's dpi this far from the sheet's is not believed
FEW_TAGS = 3
FINER = 3  # a second look uses blocks this many times smaller
NEED_TAGS = ("bed-sheet", "edge-strip", "gutter-ramp", "back-print")
NAMED = ("white-strip", "uncalibrated")  # nothing in the picture tells them: somebody says so
WITHOUT_TAGS = ("blank", "dark", "open-book", "edge-card", "page", "picture", *NAMED)
BED_MM = (50.0, 500.0)  # the longer side of an image; a dpi that makes it otherwise is wrong
UNLIKE_AXES = 2.5  # no scanner delivers so different a dpi along its two axes
PART = "told to be blank, but {share:.0%} of it is not plain paper: only a part is measured that is"
NO_PART = "told to be blank, but {share:.0%} of it is not plain paper, and no part is large enough"
NO_DPI = "what needs millimetres is not measured: give the dpi with --dpi"
SHOW_THROUGH = 0.6  # tags whose ink is lighter than this part of the paper lie on its back

__all__ = ["locate"]


def locate(
    scan: Scan,
    overview: Overview,
    light: Linear,
    *,
    dpi: float | None = None,
    role: Role | None = None,
    book_edge: Side | None = None,
) -> tuple[Placement, ...]:
    """Find what lies on the glass and where.

    Parameters
    ----------
    scan, overview, light : Scan, Overview, Linear
        The image, its small preview and its tone curve.
    dpi : float, optional
        Samples per inch that the user states; goes before what the file says.
    role : str, optional
        What lies on the glass, if the user says so; otherwise it is recognised.
    book_edge : str, optional
        The side where the user says that books have their spine.

    Returns
    -------
    tuple of Placement
        One for each piece of a sheet; a single one for anything else.

    Raises
    ------
    MirroredScan
        If tags can be read in a mirror only.
    UnreadableScan
        If a sheet lies face up, or if the role that the user names needs a sheet and there is
        none.
    """
    stated: Point | None = (dpi, dpi) if dpi is not None else scan.dpi
    source = "option" if dpi is not None else "file"
    looks = None
    if role not in WITHOUT_TAGS:
        found, looks = _search(scan, overview, light, stated, book_edge)
        if found:
            return tuple(_placements(scan, overview, light, found, stated, source, role))
        if role in NEED_TAGS:
            raise UnreadableScan(
                scan.name,
                f"shows no tags of a {role} sheet",
                "check that the printed side lies on the glass and in focus",
            )
    notes: tuple[str, ...] = ()
    if stated is None or (dpi is None and (why := _impossible(scan, stated))):
        notes = (f"{'the dpi is not known' if stated is None else why}; {NO_DPI}",)
        stated, source = _assumed(scan), "assumed"
    known = stated if source != "assumed" else None
    looks = looks or look_at(light.light(overview.preview), overview.step_px, known, book_edge)
    return (_without_sheet(scan, overview, light, looks, role, (stated, source, notes)),)


def _without_sheet(
    scan: Scan,
    overview: Overview,
    light: Linear,
    looks: Look,
    role: Role | None,
    sampling: tuple[Point, str, tuple[str, ...]],
) -> Placement:
    """A scan without a sheet: as it looks, or as the user says."""
    dpi, source, notes = sampling
    if role == "blank" and looks.role != "blank":
        looks, told = _told_blank(overview, light, looks, dpi)
        notes, role = (*notes, *told), looks.role
    placement = Placement(scan, overview, light, role or looks.role, dpi, source, notes=notes)
    if looks.paper is None or placement.role != "blank":
        return placement
    return replace(placement, paper_mm=_in_mm(looks.paper, placement))


def _told_blank(
    overview: Overview, light: Linear, looks: Look, dpi: Point
) -> tuple[Look, tuple[str, ...]]:
    """What is plain paper of a scan that looks like something else, and what to say of it."""
    grey = mean_of_channels(light.light(overview.preview))
    box, share = plain_part(grey, sum(dpi) / 2 / MM_PER_INCH / overview.step_px)
    if box is None:
        return looks, (NO_PART.format(share=share),)
    if not box.open_sides:
        return Look("blank"), ()
    return Look("blank", box), (PART.format(share=share),)


def _in_mm(box: Box, placement: Placement) -> tuple[float, float, float, float]:
    """A part of the preview in millimetres of the image."""
    scan, step = placement.scan, placement.overview.step_px
    left, top = placement.mm(box.left * step - 0.5, box.top * step - 0.5)
    right = min(box.right * step, scan.width_px)
    bottom = min(box.bottom * step, scan.height_px)
    # A last part block of the preview is dropped: paper that reaches it reaches the image's side.
    if "right" not in box.open_sides:
        right = scan.width_px
    if "bottom" not in box.open_sides:
        bottom = scan.height_px
    return (left, top, *placement.mm(right - 0.5, bottom - 0.5))


def _assumed(scan: Scan) -> Point:
    """A dpi that lets the image be looked at; nothing in millimetres is said by it."""
    dpi = max(scan.width_px, scan.height_px) * MM_PER_INCH / LONG_SIDE_MM
    return dpi, dpi


def _impossible(scan: Scan, dpi: Point) -> str:
    """Why a stated dpi cannot be that of a flatbed, or an empty string."""
    if max(dpi) > UNLIKE_AXES * min(dpi):
        return f"the file says {dpi[0]:g} dpi across and {dpi[1]:g} along, which is hardly true"
    longer = max(scan.width_px / dpi[0], scan.height_px / dpi[1]) * MM_PER_INCH
    if BED_MM[0] <= longer <= BED_MM[1]:
        return ""
    return f"the file says {_words(dpi)}, which makes the image {longer:.0f} mm long: hardly true"


def _search(
    scan: Scan,
    overview: Overview,
    light: Linear,
    stated: Point | None,
    book_edge: Side | None,
) -> tuple[list[Frame], Look | None]:
    """Pieces of a sheet, or else what the image looks like, if that is known already."""
    grey, step_px = picture(overview.preview), overview.step_px
    found = _at_step(scan, light, grey, step_px, stated)
    if found:
        return found, None
    if stated is not None and _impossible(scan, stated):
        stated = None
    looks = look_at(light.light(overview.preview), step_px, stated, book_edge)
    if looks.role in ("blank", "dark"):
        return [], looks
    _refuse_mirrored(scan, light, grey, step_px, stated)
    if step_px == 1:
        return [], looks
    finer = max(step_px // FINER, 1)
    grey = finer_picture(scan, finer)
    found = _at_step(scan, light, grey, finer, stated)
    if not found:
        _refuse_mirrored(scan, light, grey, finer, stated)
    return found, looks


def _at_step(
    scan: Scan, light: Linear, grey: NDArray[np.uint8], step_px: int, stated: Point | None
) -> list[Frame]:
    """Pieces whose tags are seen on a reduced picture of the scan."""
    return frames(refine(scan, light, detect(grey, step_px)), stated)


def _refuse_mirrored(
    scan: Scan, light: Linear, grey: NDArray[np.uint8], step_px: int, stated: Point | None
) -> None:
    """Raise if tags are seen in a mirror."""
    backs = mirrored(grey, step_px)
    if not frames(backs, stated):
        return
    if min(_ink_to_paper(scan, light, tag, step_px) for tag in backs) > SHOW_THROUGH:
        raise UnreadableScan(
            scan.name,
            "shows a sheet from behind, through its paper",
            "lay its printed side on the glass",
        )
    raise MirroredScan(
        scan.name,
        "is mirrored: its tags can only be read in a mirror",
        "switch off mirroring in the scanning software",
    )


def _ink_to_paper(scan: Scan, light: Linear, back: FoundTag, step_px: int) -> float:
    """Light of the dark parts about a tag over that of the light parts, by blocks of pixels."""
    corners = back.corners_px / step_px
    columns, rows = scan.width_px // step_px, scan.height_px // step_px
    left, top = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 2, 0).tolist()
    high = np.ceil(corners.max(axis=0)).astype(int) + 3
    right, bottom = np.minimum(high, (columns, rows)).tolist()
    size = (bottom - top) * step_px, (right - left) * step_px
    codes = scan.window(Window(top * step_px, (columns - right) * step_px, *size))
    relative = mean_of_channels(light.light(by_blocks(codes, step_px)))
    ink, paper = np.percentile(relative, (5, 95))
    return float(ink / paper)


def _placements(
    scan: Scan,
    overview: Overview,
    light: Linear,
    found: list[Frame],
    stated: Point | None,
    source: str,
    role: Role | None,
) -> Iterator[Placement]:
    """One for each piece; all use one dpi, since they lie on one glass."""
    dpi, source, notes = _dpi(found, stated, source)
    for frame in found:
        own = list(notes)
        if frame.set_aside:
            own.append(f"{frame.set_aside} tags do not lie where the others say: set aside")
        if len(frame.tags) < min(FEW_TAGS, len(frame.piece.tags)):
            own.append(f"only {len(frame.tags)} of {len(frame.piece.tags)} tags could be used")
        yield Placement(
            scan,
            overview,
            light,
            role or frame.sheet.role,
            dpi,
            source,
            sheet=frame.sheet,
            piece=frame.piece,
            to_px=frame.to_px,
            rotation_deg=frame.rotation_deg,
            residual_um=frame.residual_um,
            tags=tuple(tag.id for tag in frame.tags),
            corners_px=np.array([tag.corners_px for tag in frame.tags]),
            notes=tuple(own),
        )


def _dpi(found: list[Frame], stated: Point | None, source: str) -> tuple[Point, str, list[str]]:
    """The dpi to use, where it comes from, and what to say about it."""
    # A slope is foreshortened: what lies flat says the dpi.
    frame = next((frame for frame in found if frame.piece.rise is None), None)
    if frame is None and stated is not None:
        return stated, source, []
    frame = frame or found[0]
    measured = frame.dpi
    if stated is None:
        return measured, "sheet", [f"the file says no dpi; the sheet shows {_words(measured)}"]
    ratios = [shown / said for shown, said in zip(measured, stated, strict=True)]
    off = max(abs(ratio - 1) for ratio in ratios)
    if len(frame.tags) == 1 or off <= SAME_DPI:
        return stated, source, []
    if source == "option" or off <= WRONG_DPI:
        printed = " × ".join(dict.fromkeys(f"{100 * ratio:.1f} %" for ratio in ratios))
        return (
            stated,
            source,
            [
                f"the sheet shows {_words(measured)}, not {_words(stated)}: it was printed at "
                f"{printed}, or the dpi is wrong; print it at 100 %"
            ],
        )
    return (
        measured,
        "sheet",
        [
            f"the file says {_words(stated)} but the sheet shows {_words(measured)}, which is used "
            "(it is wrong if the sheet was not printed at 100 %; then state the dpi)"
        ],
    )


def _words(dpi: Point) -> str:
    across, travel = dpi
    if abs(across / travel - 1) < 0.002:
        return f"{(across + travel) / 2:.1f} dpi"
    return f"{across:.1f} × {travel:.1f} dpi"
