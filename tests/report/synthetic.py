"""Invented records for the page: heron and wren of the Tarn Valley Orchard Society.

No value here was measured; they only look like what the measures return, each family and each
status at least once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from scanqa.catalogue import FALLOFF_DISTANCES_MM, SIDES
from scanqa.model import (
    Action,
    Criterion,
    Curve,
    Decision,
    Diagnosis,
    Evidence,
    FileSize,
    Identity,
    Job,
    Legibility,
    Legible,
    Mark,
    Measurement,
    Outcome,
    Plan,
    Qualification,
    Record,
    Rejected,
    Results,
    ScanFacts,
    Seen,
    Share,
    Streak,
    UseVerdict,
)

BED = "heron-bed-sheet.tif"
BLANK_1, BLANK_2 = "heron-blank-1.tif", "heron-blank-2.tif"
BOOK = "heron-open-book, Catalogue of the Tarn Valley Nurseries, autumn 1931, pages 48 and 49.jpg"
HOSTILE = '"><script>alert(1)</script><img src=http://198.51.100.1/x> & $x_1$ \x07 \u6797\u6a8e'
RAMP = "heron-gutter-ramp.tif"
BACK_WHITE, BACK_BLACK = "heron-back-white.tif", "heron-back-black.tif"
WIDTH_MM, HEIGHT_MM = 297.0, 420.0
DPI = 300.0
DONE = (("2026-11-18T08:00:00+00:00", "glass cleaned on top"),)


class Wiggle:
    """Numbers that look like noise and are the same in every version of every library."""

    def __init__(self) -> None:
        self.count = 0

    def __call__(self, size: float, shape: int | tuple[int, ...] = 1) -> Any:
        """`shape` numbers between ±`size`; a plain number for one."""
        steps = np.arange(self.count, self.count + int(np.prod(shape)), dtype=float)
        self.count += len(steps)
        values = size * np.sin(0.7 * (steps % 9973) ** 2)
        return float(values[0]) if shape == 1 else values.reshape(shape)


def facts(file: str, role: str, **changes: object) -> ScanFacts:
    given: dict[str, object] = {
        "file": file,
        "role": role,
        "width_px": 3508,
        "height_px": 4961,
        "bits": 8,
        "channels": 3,
        "dpi": (DPI, DPI),
        "dpi_source": "file",
        "rotation_deg": 0,
        "sheet": None,
        "format": "tiff",
        "lossy": False,
        "light": "sRGB assumed",
        "sha256": "4f2a9c81d6" + "0" * 54,
        "modified": "2026-11-20T09:14:00+00:00",
    }
    return ScanFacts(**{**given, **changes})  # type: ignore[arg-type]


def changed(found: Qualification, *, evidence: Sequence[Evidence] = (), **fields: Any):
    """The same with other fields of the record, and more pictures."""
    return Qualification(replace(found.record, **fields), (*found.evidence, *evidence))


def heron() -> Qualification:
    """A worn A3 scanner with nearly every fault."""
    wiggle = Wiggle()
    scans = (
        facts(
            BED,
            "bed-sheet",
            sheet="bed-sheet-a3",
            rotation_deg=180,
            border_mm=((297.9, 422.3), (0.9, 420.8), (2.9, 0.8), (299.9, 2.3)),
        ),
        facts(BLANK_1, "blank"),
        facts(BLANK_2, "blank"),
        facts(BOOK, "open-book", format="jpeg", lossy=True, notes=("JPEG: grain is not judged",)),
        facts(RAMP, "gutter-ramp", sheet="gutter-ramp-a3"),
        facts(BACK_WHITE, "back-print", sheet="back-print-a4"),
        facts(BACK_BLACK, "back-print", sheet="back-print-a4"),
    )
    results = (
        _sharpness(wiggle)
        + _colour(wiggle)
        + _streaks(wiggle)
        + _glass()
        + _shading()
        + _edges()
        + _gutter()
        + _ramp()
        + _backing()
        + _plain_values()
    )
    findings, actions, outcome = _judgement()
    record = Record(
        scanner="heron",
        created="2026-11-25T10:20:00+00:00",
        tool_version="0.1.0",
        scans=scans,
        measures=results.measurements,
        streaks=results.streaks,
        glass_marks=results.marks,
        findings=findings,
        actions=actions,
        outcome=outcome,
        legibility=_legibility(),
        rejected=(
            Rejected(
                "heron-blank-3.tif", "heron-blank-3.tif: ends before its last strip; scan it again"
            ),
            Rejected(
                "picnic.jpg",
                "picnic.jpg: shows no sheet and no plain paper; name its role with --role",
            ),
        ),
        conditions={"light": "cold-cathode lamp, on for 20 minutes", "operator": "M. Ashby"},
        plan=_plan(),
        decision=Decision(
            "clean",
            "dirt",
            ("moving-dirt",),
            ("bound pages",),
            title="Clean it, then scan two blanks again",
            sentence="Dark line at 88.1 mm: this may come off. 9 days are left to return it.",
            days_left=9,
        ),
        identity=Identity(
            "heron",
            "Larkfield",
            "L-12",
            "0417",
            seller="R. Osgood",
            acquired="2026-11-20",
            return_until="2026-12-04",
        ),
    )
    return Qualification(record, results.evidence)


def _sharpness(wiggle: Wiggle) -> Results:
    found = []
    for column in range(5):
        for row in range(7):
            at = (28.0 + 60 * column, 30.0 + 60 * row)
            for way, best, fall in (("across", 4.6, 0.006), ("travel", 4.1, 0.003)):
                sfr10 = best - fall * abs(at[0] - 150) + wiggle(0.05)
                for channel, factor in (
                    ("luma", 1.0),
                    ("red", 0.97),
                    ("green", 1.01),
                    ("blue", 0.93),
                ):
                    f = sfr10 * factor
                    share = f / (DPI / 25.4 / 2)
                    for name, value, sigma in (
                        ("sfr50", 0.55 * f, 0.02),
                        ("sfr10", f, 0.05),
                        ("sampling_efficiency", 100 * share, 1.1),
                        ("effective_dpi", DPI * share, 3.2),
                        ("peak", 1.02, 0.01),
                    ):
                        low = column == 4 and way == "across" and name != "peak"
                        found.append(
                            Measurement(
                                f"sharpness.{name}",
                                value,
                                sigma,
                                "at-least" if low else "ok",
                                "the printed edge is rougher than the scanner is blurred"
                                if low
                                else "",
                                BED,
                                at,
                                way,  # type: ignore[arg-type]
                                channel,  # type: ignore[arg-type]
                                "printed",
                                "print" if low else None,
                            )
                        )
    found.append(
        Measurement(
            "sharpness.sfr50",
            None,
            status="not-measurable",
            reason="a fold crosses the edge",
            reason_kind="no-detail",
            scan=BED,
            at_mm=(150.0, 410.0),
            direction="travel",
            channel="luma",
            edge_kind="printed",
        )
    )
    f = np.linspace(0, 5.9, 120)
    curves = tuple(
        Curve(label, f, np.exp(-((f / width) ** 2)) * np.sinc(f / 11.8))
        for label, width in (
            ("across, centre", 3.1),
            ("travel, centre", 2.8),
            ("across, worst place", 2.3),
        )
    )
    d = np.linspace(-400, 400, 400)
    edge = tuple(
        Curve(label, d, 0.04 + 0.83 / (1 + np.exp(-d / width)) + wiggle(0.003, d.size))
        for label, width in (("across, centre", 32), ("travel, centre", 38))
    )
    return Results(
        tuple(found),
        evidence=(
            Evidence(
                "sharpness.sfr50",
                "curves",
                "Spatial frequency response",
                BED,
                "Spatial frequency, cy/mm",
                "SFR",
                curves=curves,
                shows="response",
            ),
            Evidence(
                "sharpness.sfr50",
                "curves",
                "Edge profile",
                BED,
                "Distance from the edge, µm",
                "Light, share of full scale",
                curves=edge,
            ),
        ),
    )


def _colour(wiggle: Wiggle) -> Results:
    found = []
    for column in range(5):
        for row in range(7):
            at = (28.0 + 60 * column, 30.0 + 60 * row)
            for way in ("across", "travel"):
                for channel, sign in (("red", 1), ("blue", -1)):
                    size = 0.05 if way == "across" else 0.22 + 0.0006 * at[1]
                    value = sign * size + wiggle(0.01)
                    found.append(
                        Measurement(
                            "colour.registration",
                            value,
                            0.012,
                            scan=BED,
                            at_mm=at,
                            direction=way,
                            channel=channel,
                        )  # type: ignore[arg-type]
                    )
    return Results(tuple(found))


def _streaks(wiggle: Wiggle) -> Results:
    x = (np.arange(3508) + 0.5) * 25.4 / DPI
    profile = 0.12 * np.sin(x / 9) * np.exp(-x / 500) + wiggle(0.05, x.size)
    lines = [(88.14, -1.62), (88.9, -0.31), (203.47, 0.74), (251.2, -0.28)]
    for at, size in lines:
        profile += size * np.exp(-(((x - at) / 0.08) ** 2))
    crop = 222 + wiggle(3.1, (96, 140, 3))
    crop[:, 68:71] -= (4, 4.6, 4)
    streaks = tuple(
        Streak(
            at_mm=at,
            at_px=at * DPI / 25.4 - 0.5,
            width_um=168.0 if at < 200 else 84.7,
            contrast_percent=abs(size),
            delta_L=0.4 * abs(size),
            polarity="dark" if size < 0 else "bright",
            channels=("red", "green", "blue") if at != 203.47 else ("green",),
            extent_mm=(0.0, HEIGHT_MM),
            significance=abs(size) / 0.01,
            visible=abs(size) > 0.5,
            scan=BLANK_1,
            likely_cause=cause,
        )
        for (at, size), cause in zip(
            lines,
            (
                "dirt in the moving light path",
                "dirt in the moving light path",
                "dirt on the white calibration strip",
                "dirt in the moving light path",
            ),
            strict=True,
        )
    )
    return Results(
        (
            Measurement("streaks.strongest_visible", 1.62, 0.01, scan=BLANK_1),
            Measurement("streaks.column_pattern", 0.048, 0.002, scan=BLANK_1),
        ),
        streaks,
        evidence=(
            Evidence(
                "streaks",
                "curves",
                "Mean of all rows, column by column",
                BLANK_1,
                "x, mm",
                "Difference from the paper around it, %",
                curves=(Curve("", x, profile),),
                lines_mm=tuple((at, "dark" if size < 0 else "bright") for at, size in lines),
                shows="travel",
            ),
            Evidence(
                "streaks",
                "crop",
                "The strongest streak",
                BLANK_1,
                image=crop.clip(0, 255).astype(np.uint8),
                extent_mm=(82.3, 200.0, 94.15, 208.13),
                lines_mm=((88.14, "dark"),),
                note="Contrast raised four times",
                shows="travel",
            ),
        ),
    )


def _glass() -> Results:
    places = [
        (41.2, 77.0, 0.4, 0.3, "spot"),
        (230.8, 311.5, 0.2, 0.2, "spot"),
        (120.0, 398.2, 0.12, 6.4, "scratch"),
    ]
    return Results(
        marks=tuple(
            Mark(
                (x, y),
                (w, h),
                12.0 / (1 + i),
                "dark" if kind == "spot" else "bright",
                kind,
                BLANK_2,
            )  # type: ignore[arg-type]
            for i, (x, y, w, h, kind) in enumerate(places)
        )
    )


def _shading() -> Results:
    y, x = np.mgrid[0:140, 0:99]
    level = 100 - 9 * ((x - 45) / 99) ** 2 - 5 * (y / 140)
    level[:, :2] -= 8
    found = [Measurement("shading.nonuniformity", 11.4, 0.3, scan=BLANK_1)]
    for side in SIDES:
        for distance in FALLOFF_DISTANCES_MM:
            value = 100 - (22 if side == "left" else 6) * np.exp(-distance / 6)
            found.append(
                Measurement(f"shading.falloff_{side}_{distance}mm", float(value), 0.4, scan=BLANK_1)
            )
    return Results(
        tuple(found),
        evidence=(
            Evidence(
                "shading",
                "map",
                "Light over the bed",
                BLANK_1,
                unit="% of the centre",
                image=level,
                extent_mm=(0.0, 0.0, WIDTH_MM, HEIGHT_MM),
            ),
        ),
    )


def _edges() -> Results:
    depth = {"left": 6.8, "right": 1.1, "top": 2.3, "bottom": 0.4}
    found = []
    for side in SIDES:
        found.append(Measurement(f"edges.shadow_{side}", depth[side], 0.2, scan=BLANK_1))
        if side == "left":
            found.append(Measurement("edges.dead_margin_left", 2.1, 0.06, scan="heron-strip.tif"))
        else:
            found.append(
                Measurement(
                    f"edges.dead_margin_{side}",
                    None,
                    status="not-measurable",
                    reason="no edge strip lay on this side",
                    reason_kind="no-scan",
                )
            )
    found.append(Measurement("edges.usable_width", 289.1, 0.3, scan=BLANK_1))
    found.append(Measurement("edges.usable_height", 417.3, 0.3, scan=BLANK_1))
    for form, lost, error, words in (
        ("a4", 0.0, 0.0, "an A4 sheet fits, laid upright"),
        (
            "a3",
            7.9,
            0.3,
            "8 mm of the width of an A3 sheet are lost, laid upright; a second scan, the sheet "
            "turned by 180°, recovers them",
        ),
        ("letter", 0.0, 0.0, "a US Letter sheet fits, laid upright"),
        (
            "sleeve",
            25.9,
            0.3,
            "26 mm of the width of a 12-inch record sleeve are lost, laid upright; a second scan, "
            "the sheet turned by 180°, recovers them",
        ),
    ):
        found.append(
            Measurement(f"edges.lost_{form}", lost, error or None, reason=words, scan=BLANK_1)
        )
    d = (np.arange(354) + 0.5) * 25.4 / DPI
    curves = tuple(
        Curve(side, d, 94 - (18 if side == "left" else 9) * np.exp(-d / (depth[side] / 2.5)))
        for side in SIDES
    )
    return Results(
        tuple(found),
        evidence=(
            Evidence(
                "edges",
                "curves",
                "Lightness from each side of the image inwards",
                BLANK_1,
                "Distance from the side of the image, mm",
                "L*",
                "L*",
                curves,
                lines_mm=tuple((v, f"{s}: {v:.1f} mm") for s, v in depth.items()),
                note="Median along each side; shadow ends 2 L* below the level further in.",
            ),
        ),
    )


def _gutter() -> Results:
    x = np.linspace(0, 60, 700)
    curve = 93 - 31 * np.exp(-x / 4.1)
    found = [Measurement("gutter.plateau", 93.0, 0.2, scan=BOOK)]
    for at, delta in ((0, 31.0), (2, 19.0), (5, 9.2), (10, 2.7), (20, 0.2)):
        found.append(Measurement(f"gutter.delta_L_at_{at}mm", delta, 0.5, scan=BOOK))
    for level, reach in ((2, 11.2), (5, 7.5), (10, 4.6)):
        found.append(Measurement(f"gutter.reach_{level}", reach, 0.3, scan=BOOK))
    return Results(
        tuple(found),
        evidence=(
            Evidence(
                "gutter",
                "curves",
                "Lightness from the spine outwards",
                BOOK,
                "Distance from the spine, mm",
                "L*",
                curves=(Curve("median along the spine", x, curve),),
                lines_mm=((4.6, "ΔL* 10"), (7.5, "ΔL* 5"), (11.2, "ΔL* 2")),
            ),
        ),
    )


PACED = "300 dpi, colour, 8 bits, 4 scans timed"


def _ramp() -> Results:
    h = np.linspace(0, 12, 121)
    found = [
        Measurement(f"gutter.light_at_{at}mm_height", 100 * np.exp(-at / 9.0), 0.6, scan=RAMP)
        for at in (1, 2, 5, 10)
    ]
    found += [
        Measurement(f"gutter.lift_at_{at}mm", 2.4 * np.exp(-at / 5.0), 0.1, scan=BOOK)
        for at in (0, 2, 5, 10)
    ]
    found += [
        Measurement(f"gutter.focus_at_{at}mm", 100 / (1 + (h / 4.1) ** 2), 2.0, scan=BOOK)
        for at in (0, 2, 5, 10)
        for h in (2.4 * np.exp(-at / 5.0),)
    ]
    found += [
        Measurement(f"gutter.focus_at_{at}mm_height", 100 / (1 + (at / 4.1) ** 2), 2.0, scan=RAMP)
        for at in (1, 2, 5)
    ]
    found.append(Measurement("gutter.depth_of_field", 4.1, 0.3, scan=RAMP))
    return Results(
        tuple(found),
        evidence=(
            Evidence(
                "gutter.light_at_10mm_height",
                "curves",
                "Light against height above the glass",
                RAMP,
                "Height above the glass, mm",
                "Light, % of that on the glass",
                curves=(Curve("slope of the ramp", h, 100 * np.exp(-h / 9)),),
            ),
            Evidence(
                "gutter.depth_of_field",
                "curves",
                "Fine detail against height above the glass",
                RAMP,
                "Height above the glass, mm",
                "SFR50, cy/mm",
                curves=(Curve("edges on the slope", h, 2.3 / (1 + (h / 4.1) ** 2)),),
                lines_mm=((4.1, "half"),),
            ),
        ),
    )


def _backing() -> Results:
    found = []
    for scan, words, through, paper in (
        (BACK_WHITE, "on the lighter backing", 6.4, 93.1),
        (BACK_BLACK, "on the darker backing", 0.7, 88.9),
    ):
        found.append(Measurement("backing.show_through", through, 0.2, reason=words, scan=scan))
        found.append(Measurement("backing.paper", paper, 0.1, reason=words, scan=scan))
    return Results(tuple(found))


def _plain_values() -> Results:
    m = Measurement
    return Results(
        (
            m("noise.temporal", 0.62, 0.01),
            m("noise.fixed_pattern", 0.31, 0.02),
            m("noise.total", 1.14, 0.02, scan=BLANK_1),
            m("noise.total", 1.18, 0.02, scan=BLANK_2),
            m("noise.snr", 38.4, 0.2),
            m("tone.white", 93.6, 0.1, scan=BLANK_1),
            m("tone.clipped", 0.004, 0.001, scan=BLANK_1),
            m(
                "tone.black",
                None,
                status="not-measurable",
                reason="no dark scan was given",
                reason_kind="no-scan",
            ),
            m("geometry.dpi_across", 300.42, 0.004, scan=BED),
            m("geometry.dpi_travel", 298.87, 0.006, scan=BED),
            m("geometry.skew", -0.412, 0.002, scan=BED),
            m("geometry.orthogonality", 0.021, 0.003, scan=BED),
            m("geometry.distortion", 0.034, 0.004, scan=BED),
            m("pace.seconds_per_scan", 18.2, 0.1, reason=PACED, scan=BLANK_1),
            m("pace.pages_per_hour", 155.2, 0.7, reason=PACED, scan=BLANK_1),
        )
    )


def _judgement() -> tuple[tuple[Diagnosis | Criterion, ...], tuple[Action, ...], Outcome]:
    heading = "FADGI, 3rd edition (2023), bound general"
    findings = (
        Diagnosis(
            cause="moving-dirt",
            severity="fault",
            signs=(Seen("line", "fault", rests_on=("streaks.strongest_visible",), streak=0),),
            causes=(Share("moving-dirt", 0.8), Share("dead-element", 0.2)),
            rests_on=("streaks.strongest_visible",),
            title="Dark line at 88.1 mm: dirt in the moving light path",
            heading="Dark line at 88.1 mm",
            reason="It stays in the same column while the paper moves, in all colours.",
            measured="It stays in the same column while the paper moves, in all colours",
            likely=("dirt in the moving light path", "a weak sensor element"),
            action="Clean the glass and scan again.",
            caution="Unplug first. Keep solvents off plastics.",
            stop="Stop at the glass: what lies below is for someone who opens scanners.",
            source="Common practice, no source",
        ),
        Diagnosis(
            cause="frame-shadow",
            severity="warning",
            signs=(Seen("shadow", "warning", rests_on=("edges.shadow_left",)),),
            rests_on=("edges.shadow_left", "edges.dead_margin_left"),
            title="The shadow at the left edge is deep",
            heading="The shadow at the left edge is deep",
            likely=("frame of the glass shadows the lamp",),
        ),
        *(
            Criterion(
                document=document,
                quantity=quantity,
                severity=severity,
                verdict=verdict,
                rests_on=rests_on,
                title=f"{head}: {quantity}",
                heading=head,
                reason=reason,
                source=f"{head}, quoted",
            )
            for document, head, quantity, severity, verdict, rests_on, reason in (
                (
                    "fadgi-2023",
                    heading,
                    "sampling rate",
                    "good",
                    "met",
                    ("geometry.dpi_travel",),
                    "lowest of 2 values: 299 ppi; meets 3 star (at least 294 ppi)",
                ),
                (
                    "fadgi-2023",
                    heading,
                    "illuminance non-uniformity",
                    "warning",
                    "not met",
                    ("shading.nonuniformity",),
                    "highest: 11.4 %; even 1 star asks for under 8 %",
                ),
                (
                    "fadgi-2023",
                    heading,
                    "colour accuracy",
                    "note",
                    "not judged",
                    (),
                    "needs a colour target with known values",
                ),
                (
                    "iso-19264-1-2021",
                    "ISO 19264-1:2021, level C",
                    "noise",
                    "note",
                    "not judged",
                    (),
                    "nothing in this set of scans measures it",
                ),
            )
        ),
    )
    actions = (
        Action(
            "moving-dirt",
            "Clean the glass, then scan two blanks again.",
            "A dark line runs down the image at 88.1 mm.",
            "Unplug first. Put the cleaner on a lint-free cloth, never on the glass, and keep "
            "solvents off plastics and painted strips.",
            act="clean",
        ),
        Action(
            "moving-dirt",
            "If the line stays, have the light path cleaned, or return the unit.",
            "Dirt that stays after cleaning is inside.",
            "Unplug the scanner and wait before opening anything. Cold-cathode lamps run from an "
            "inverter of several hundred volts and contain mercury: do not break them, and dispose "
            "of them under local rules. Opened mains or high-voltage parts are work for qualified "
            "people; local codes and licensed practice come first.",
            act="mend",
        ),
        Action(
            "frame-shadow",
            "Keep text 7 mm clear of the left edge.",
            "The shadow there is 6.8 mm deep.",
            act="mend",
        ),
    )
    uses = (
        UseVerdict(
            "text",
            "limited",
            reason="Printed text with lower-case letters from 1.5 mm up: effective dpi 208 dpi.",
            deciding=("sharpness.effective_dpi",),
        ),
        UseVerdict(
            "halftone pictures",
            "unfit",
            reason="Printed photographs in even tones: unevenness over the bed 11.4 %.",
            deciding=("shading.nonuniformity",),
        ),
        UseVerdict(
            "covers",
            "fit",
            reason="Covers in colour, seen as a whole: colour registration 0.47 px.",
        ),
        UseVerdict(
            "bound pages",
            "not judged",
            reason="Pages up to the spine: dead margin was not measured.",
        ),
    )
    sentence = "Usable for text with care; a visible line and uneven light spoil pictures."
    return findings, actions, Outcome("limited", sentence, uses, judged="limited")


def _legibility() -> tuple[Legibility, ...]:
    levels = (
        ("character", "excellent", 8.0, 2.07, 0.03),
        ("character", "good", 5.0, 1.30, 0.02),
        ("character", "marginal", 3.6, 0.93, 0.01),
        ("character", "barely legible", 3.0, 0.78, 0.01),
        ("stroke", "excellent", 2.0, 0.26, 0.004),
        ("stroke", "good", 1.5, 0.19, 0.003),
        ("stroke", "questionable", 1.0, 0.13, 0.002),
    )
    sizes = tuple(Legible(*row) for row in levels)
    why = {"limit": "print", "note": "the printed edge is rough"}
    return (Legibility(300, 198.0, 3.0, "at-least", sizes, **why),)


def _plan() -> Plan:
    job = Job(1200, "A4", (210.0, 297.0), 1.2, 5.0)
    basis = "21 % of heron-open-book.jpg compressed (an open book)"
    return Plan(
        job=job,
        needed_dpi=341.9,
        dpi=200,
        why_dpi="the optics support 198 dpi only: a finer setting makes larger files, not finer "
        "ones",
        optics="too-little",
        optics_dpi=198.0,
        index=4.6,
        legibility="marginal",
        sizes=(
            FileSize("TIFF, uncompressed", 11_602_000.0, 0.0, "1654 × 2339 px × 3 × 8 bits"),
            FileSize("PNG, lossless", 5_720_000.0, 110_000.0, basis),
            FileSize("JPEG, quality 90, lossy", 690_000.0, 90_000.0, basis),
        ),
        timed="timed",
        seconds=18.2,
        pages_per_hour=155.2,
        rate_uncertainty=0.9,
        at_most=False,
        hours=7.73,
        days=2,
        why_time="timed: 300 dpi, colour, 8 bits, 4 scans timed",
    )


def one_blank() -> Qualification:
    """The least there can be: one scan of plain paper, nothing judged."""
    record = Record(
        scanner="wren",
        created="2026-11-25T10:20:00+00:00",
        tool_version="0.1.0",
        scans=(facts("wren-blank.png", "blank", format="png", channels=1, modified=None),),
        measures=(Measurement("tone.white", 92.0, scan="wren-blank.png"),),
        streaks=(),
        glass_marks=(),
        findings=(),
        actions=(),
        outcome=Outcome("not judged", "One blank scan alone says too little."),
    )
    return Qualification(record)


def hostile() -> Qualification:
    """Words that would break a careless page, in every place that takes words."""
    x = np.linspace(0, 1, 5)
    record = Record(
        scanner=HOSTILE,
        created=HOSTILE,
        tool_version=HOSTILE,
        scans=(facts(HOSTILE, "blank", sheet=HOSTILE, light=HOSTILE, notes=(HOSTILE,)),),
        measures=(
            Measurement(
                "tone.white",
                None,
                status="not-measurable",
                reason=HOSTILE,
                scan=HOSTILE,
                reason_kind="clipped",
            ),
            Measurement(
                "noise.total",
                1.0,
                status="at-least",
                reason=HOSTILE,
                scan=HOSTILE,
                reason_kind="noise",
            ),
        ),
        streaks=(
            Streak(
                1, 11, 80, 1, 0.4, "dark", ("luma",), (0, 2), 9, True, HOSTILE, "travel", HOSTILE
            ),
        ),
        glass_marks=(Mark((1, 1), (1, 1), 1, "dark", "spot", HOSTILE),),
        findings=(
            Diagnosis(
                cause=HOSTILE,
                severity="fault",
                causes=(Share(HOSTILE, 1.0),),
                rests_on=(HOSTILE,),
                title=HOSTILE,
                reason=HOSTILE,
                heading=HOSTILE,
                measured=HOSTILE,
                unsure=HOSTILE,
                likely=(HOSTILE,),
                check_next=HOSTILE,
                action=HOSTILE,
                caution=HOSTILE,
                stop=HOSTILE,
                source=HOSTILE,
            ),
            Criterion(
                document=HOSTILE,
                quantity=HOSTILE,
                severity="fault",
                verdict="not met",
                title=HOSTILE,
                heading=HOSTILE,
                reason=HOSTILE,
                source=HOSTILE,
            ),
        ),
        actions=(Action(HOSTILE, HOSTILE, HOSTILE, HOSTILE),),
        outcome=Outcome(
            "unfit",
            HOSTILE,
            (UseVerdict(HOSTILE, "unfit", reason=HOSTILE, deciding=(HOSTILE,)),),
        ),
        rejected=(Rejected(HOSTILE, HOSTILE),),
        options={HOSTILE: HOSTILE},
        decision=Decision("return", HOSTILE, (HOSTILE,), title=HOSTILE, sentence=HOSTILE),
        identity=Identity(HOSTILE, HOSTILE, HOSTILE, HOSTILE, seller=HOSTILE),
        conditions={HOSTILE: HOSTILE},
        plan=Plan(
            Job(1, HOSTILE, (1.0, 1.0), 1.0, 5.0),
            1.0,
            100,
            "not-measured",
            None,
            1.0,
            HOSTILE,
            (FileSize(HOSTILE, 1.0, None, HOSTILE),),
            why_dpi=HOSTILE,
            why_time=HOSTILE,
        ),
    )
    evidence = (
        Evidence(
            f"noise.{HOSTILE}",
            "curves",
            HOSTILE,
            HOSTILE,
            HOSTILE,
            HOSTILE,
            HOSTILE,
            (Curve(HOSTILE, x, x), Curve("$\\frac{$", x, 1 - x)),
            lines_mm=((0.5, HOSTILE),),
            note=HOSTILE,
        ),
        Evidence("noise", "map", HOSTILE, HOSTILE, unit=HOSTILE, image=np.eye(3)),
    )
    return Qualification(record, evidence)
