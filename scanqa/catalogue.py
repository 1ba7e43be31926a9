"""One row for each measure: its name, unit, sentence and method version.

Code, report, JSON and documentation all read these rows; a measure that is not here cannot be
reported (`scanqa.model.Measurement` checks the name when it is built).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal[
    "blank", "dark", "bed-sheet", "edge-strip", "gutter-ramp", "open-book", "back-print", "claim"
]
Side = Literal["left", "right", "top", "bottom"]
Better = Literal["higher", "lower", "target", "neither"]


@dataclass(frozen=True, slots=True)
class Definition:
    """What a measure is.

    Attributes
    ----------
    name : str
        Dotted name; the part before the first dot is the module in `scanqa.measures`.
    unit : str
        Unit of the value and of its uncertainty; an empty string for a ratio.
    better : str
        Whether a higher or a lower value is better, or one near a target, or neither.
    digits : int
        Decimals printed in the report.
    sentence : str
        What it is, for someone who does not know the term.
    version : int
        Raised when the method changes so that old values no longer compare.
    """

    name: str
    unit: str
    better: Better
    digits: int
    sentence: str
    version: int = 1


SIDES: tuple[Side, ...] = ("left", "right", "top", "bottom")
FALLOFF_DISTANCES_MM = (2, 5, 10, 20)
FORMATS_MM = {  # width and height of what people lay on the glass
    "a4": ("an A4 sheet", 210.0, 297.0),  # ISO 216
    "a3": ("an A3 sheet", 297.0, 420.0),  # ISO 216
    "letter": ("a US Letter sheet", 215.9, 279.4),  # 8.5 × 11 in
    "sleeve": ("a 12-inch record sleeve", 315.0, 315.0),  # common practice, no source
}
PAGES_MM = {  # width and height of a page
    "a3": (297.0, 420.0),  # ISO 216
    "a4": (210.0, 297.0),
    "a5": (148.0, 210.0),
    "letter": (215.9, 279.4),  # 8.5 × 11 in
    "legal": (215.9, 355.6),  # 8.5 × 14 in
    "tabloid": (279.4, 431.8),  # 11 × 17 in
}
# Common practice, no source: on a 600 dpi A3 book-edge flatbed steady hand work makes 150 to 160
# pages an hour, about 200 is the mechanical limit. 200 an hour are 18 s a scan, 155 an hour 23.2 s:
# turning a page takes 5 s, which is assumed unless stated.
TURN_S = 5.0
HOURS_A_DAY = 4.0  # of steady work by one person: our assumption
GUTTER_DISTANCES_MM = (0, 2, 5, 10, 20)
GUTTER_LIFT_MM = (0, 2, 5, 10)  # distances at which the lift of the page is given
RAMP_HEIGHTS_MM = (1, 2, 5, 10)
GUTTER_REACH_DELTA_L = (2, 5, 10)


def _rows() -> list[Definition]:
    row = Definition
    # fmt: off
    rows = [
        row("sharpness.sfr50", "cy/mm", "higher", 2,
            "Finest detail still shown at half its contrast (spatial frequency response 0.5)."),
        row("sharpness.sfr10", "cy/mm", "higher", 2,
            "Finest detail that can just be told apart (spatial frequency response 0.1)."),
        row("sharpness.sampling_efficiency", "%", "higher", 0,
            "SFR10 frequency as a share of the finest that the delivered dpi could hold."),
        row("sharpness.effective_dpi", "dpi", "higher", 0,
            "The dpi that the optics support, whatever the driver delivers."),
        row("sharpness.peak", "", "target", 2,
            "Highest spatial frequency response; clearly over 1 means sharpening was applied."),
        row("claim.factor", "", "lower", 2,
            "Samples delivered for each one that was measured; over 1, the rest is invented."),
        row("claim.native_fraction", "", "higher", 2,
            "Share of the delivered resolution that is real: 1 over the factor."),
        row("processing.halo", "%", "lower", 1,
            "Overshoot beside edges against the step; optics make none, so it is sharpening."),
        row("processing.level_stretch", "", "target", 2,
            "Factor by which levels were stretched after digitising, from gaps in the histogram."),
        row("processing.grain_kept", "", "target", 2,
            "Grain at the finest detail against coarser grain; clearly under 1 if smoothed."),
        row("processing.jpeg_quality", "", "higher", 0,
            "Quality of lossy compression by its traces in the pixels; 100 without a trace."),
        row("processing.crop", "mm", "lower", 1,
            "Difference in size between scans that should all show the whole bed."),
        row("streaks.strongest_visible", "%", "lower", 2,
            "Contrast of the strongest streak that an eye would see; 0 when there is none."),
        row("streaks.column_pattern", "% rms", "lower", 3,
            "Fine column-to-column unevenness left after single streaks are set aside."),
        row("banding.amplitude", "%", "lower", 3,
            "Size of the strongest periodic change of light along travel, half crest to trough."),
        row("banding.period", "mm", "neither", 3,
            "Distance from crest to crest of that change."),
        row("banding.phase_spread", "rad", "neither", 2,
            "How much the place of the crests differs between scans; near 0 they stay in place."),
        row("banding.frequency", "Hz", "neither", 1,
            "How often that change comes in a second, from the time of a line."),
        row("banding.unsteadiness", "% rms", "lower", 3,
            "Unevenness from row to row that all columns share, whether it repeats or not."),
        row("glass.marks", "", "lower", 0,
            "Number of spots and scratches that stay in place while the paper moves."),
        row("shading.nonuniformity", "%", "lower", 1,
            "Difference between the lightest and darkest parts of the bed over their mean."),
        row(
            "shading.range_L",
            "L*",
            "lower",
            2,
            "Difference in lightness between the lightest and darkest parts of the bed.",
        ),
        row(
            "shading.deviation_L",
            "%",
            "lower",
            2,
            "Standard deviation of lightness over the bed, against its mean.",
        ),
        row("edges.usable_width", "mm", "higher", 1,
            "Width of the bed that is lit evenly."),
        row("edges.usable_height", "mm", "higher", 1,
            "Height of the bed that is lit evenly."),
        row("gutter.plateau", "L*", "higher", 1,
            "Lightness of the open page away from the spine."),
        row("noise.temporal", "L*", "lower", 2,
            "Grain that differs from scan to scan, as standard deviation of lightness."),
        row("noise.fixed_pattern", "L*", "lower", 2,
            "Unevenness that stays in place while the paper moves, pixel to pixel."),
        row("noise.total", "L*", "lower", 2,
            "All pixel-to-pixel variation on white paper, the paper's own grain included."),
        row("noise.paper", "L*", "neither", 2,
            "The paper's own grain as this scanner shows it."),
        row("noise.gain", "ppm", "lower", 1,
            "Rise of the noise variance with the light, in millionths of the full scale."),
        row("noise.read", "%", "lower", 3,
            "Noise without light, as a share of the full scale."),
        row("noise.light_index", "ke-", "higher", 2,
            "Light that reaches the sensor, as thousands of electrons at full scale that would "
            "give the noise seen; falls when the lamp dims behind automatic white calibration."),
        row("noise.snr", "dB", "higher", 1,
            "Level over temporal noise on white paper."),
        row("geometry.dpi_across", "dpi", "target", 2,
            "Samples per inch along the sensor line, from the printed sheet."),
        row("geometry.dpi_travel", "dpi", "target", 2,
            "Samples per inch along the carriage travel, from the printed sheet."),
        row("geometry.skew", "°", "target", 3,
            "How far the sheet lay turned on the glass."),
        row("geometry.orthogonality", "°", "target", 3,
            "Departure from a right angle between sensor line and carriage travel."),
        row("geometry.distortion", "%", "lower", 3,
            "Largest bend left over after scale, turn and shear, against the sheet's diagonal."),
        row("geometry.printer_across", "%", "target", 2,
            "How much longer than drawn the printer made the sheet, across the page."),
        row("geometry.printer_down", "%", "target", 2,
            "How much longer than drawn the printer made the sheet, down the page."),
        row("geometry.printer_squareness", "°", "target", 3,
            "Departure from a right angle of the printed sheet itself."),
        row("geometry.printer_distortion", "%", "lower", 3,
            "Largest bend of the printed sheet itself, against its diagonal."),
        row("geometry.travel_jitter", "µm", "lower", 1,
            "How unsteadily the carriage travels from line to line, as standard deviation."),
        row("colour.registration", "px", "target", 2,
            "Shift of red and blue against green; seen as coloured fringes on black lines."),
        row("colour.neutrality", "a*b*", "lower", 2,
            "Strongest tint of white paper anywhere on the bed against the middle of the bed."),
        row("colour.paper_a", "a*", "neither", 2,
            "Tint of white paper in the middle of the bed as delivered, green (below 0) to red."),
        row("colour.paper_b", "b*", "neither", 2,
            "Tint of white paper in the middle of the bed as delivered, blue (below 0) to yellow."),
        row("tone.clipped", "%", "lower", 3,
            "Share of pixels at the very top of the scale."),
        row("tone.white", "L*", "neither", 1,
            "Lightness given to plain white paper."),
        row("tone.black", "L*", "lower", 1,
            "Lightness given to the darkest thing scanned."),
        row("tone.range", "D", "higher", 2,
            "Density between white paper and the darkest thing scanned, as the scanner sees it."),
        row("tone.response", "L*", "lower", 1,
            "Largest error in lightness of grey patches whose true values are known."),
        row("drift.level", "%", "target", 2,
            "Change of level from the first to the last of the blank scans; above 0 it rose."),
        row("drift.settle_time", "s", "lower", 0,
            "Time from the first blank scan until the level stays within 0.5 % of its end."),
        row("pace.seconds_per_scan", "s", "lower", 1,
            "Time that one scan of the whole bed takes."),
        row("pace.pages_per_hour", "pages/h", "higher", 0,
            f"Pages in an hour of steady work: one page a scan, {TURN_S:g} s to turn each."),
        row("veil.stray_light", "%", "lower", 1,
            "Share of light that strays from white surroundings into black; haze lifts it."),
        row("backing.show_through", "%", "lower", 2,
            "How much darker the front of a page is where its back is printed black."),
        row("backing.paper", "L*", "neither", 1,
            "Lightness of unprinted paper on the backing it was scanned on."),
    ]
    # fmt: on
    for side in SIDES:
        rows.append(
            row(
                f"edges.shadow_{side}",
                "mm",
                "lower",
                2,
                f"Depth of the shadow along the {side} edge of the image.",
            )
        )
        rows.append(
            row(
                f"edges.dead_margin_{side}",
                "mm",
                "lower",
                2,
                f"Glass at the {side} edge that the sensor never sees.",
            )
        )
        for distance in FALLOFF_DISTANCES_MM:
            rows.append(
                row(
                    f"shading.falloff_{side}_{distance}mm",
                    "%",
                    "higher",
                    1,
                    f"Light {distance} mm from the {side} edge against the centre.",
                )
            )
    for format_name, (words, _, _) in FORMATS_MM.items():
        rows.append(
            row(
                f"edges.lost_{format_name}",
                "mm",
                "lower",
                1,
                f"What is lost of {words} that is scanned at once on the evenly lit bed.",
            )
        )
    for distance in GUTTER_DISTANCES_MM:
        rows.append(
            row(
                f"gutter.delta_L_at_{distance}mm",
                "L*",
                "lower",
                1,
                f"How much darker the page is {distance} mm from the spine.",
            )
        )
    for delta in GUTTER_REACH_DELTA_L:
        rows.append(
            row(
                f"gutter.reach_{delta}",
                "mm",
                "lower",
                1,
                f"Distance from the spine at which the page is only {delta} L* darker.",
            )
        )
    for distance in GUTTER_LIFT_MM:
        rows.append(
            row(
                f"gutter.lift_at_{distance}mm",
                "mm",
                "lower",
                1,
                f"Height of the page over the glass {distance} mm from the spine.",
            )
        )
        rows.append(
            row(
                f"gutter.focus_at_{distance}mm",
                "%",
                "higher",
                0,
                f"Fine detail (SFR50) left {distance} mm from the spine, where the page lifts.",
            )
        )
    for height in RAMP_HEIGHTS_MM:
        rows.append(
            row(
                f"gutter.light_at_{height}mm_height",
                "%",
                "higher",
                0,
                f"Light on a page {height} mm above the glass, against that on the glass.",
            )
        )
        rows.append(
            row(
                f"gutter.focus_at_{height}mm_height",
                "%",
                "higher",
                0,
                f"Fine detail (SFR50) {height} mm above the glass, against that on the glass.",
            )
        )
    rows.append(
        row(
            "gutter.depth_of_field",
            "mm",
            "higher",
            1,
            "Height above the glass at which fine detail (SFR50) has halved.",
        )
    )
    return rows


CATALOGUE: dict[str, Definition] = {row.name: row for row in _rows()}
