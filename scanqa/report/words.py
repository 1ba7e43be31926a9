"""The page's own words: what each family of measures is, in plain language, and the glossary.

A family is the part of a measure's name before the first dot. One that is not listed here still
gets its section, under its own name and with the sentences of the catalogue.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Family:
    """What the page says about one family of measures.

    Attributes
    ----------
    title : str
        Heading of its section.
    text : str
        What is measured and how to read it.
    needs : str
        What must lie on the glass, for the reader who has no such scan.
    """

    title: str
    text: str
    needs: str


LIKELIHOODS = ((0.85, "very likely"), (0.5, "likely"), (0.15, "possible"), (0.0, "less likely"))


def likelihood(share: float) -> str:
    """Words for the probability of a cause: the weights behind it do not bear digits."""
    return next(words for least, words in LIKELIHOODS if share >= least)


FAMILIES: dict[str, Family] = {
    "sharpness": Family(
        "Sharpness",
        "How much fine detail survives. Slanted edges on the printed sheet show how a sudden step "
        "from white to black is blurred; from that follows the spatial frequency response (SFR), "
        "the share of contrast left at each fineness of detail. SFR50 and SFR10 are where half "
        "and a tenth of the contrast is left. Effective dpi says which sampling would have "
        "sufficed for that detail: above it a scan grows larger, not sharper.",
        "a scan of the bed sheet",
    ),
    "claim": Family(
        "Claimed resolution",
        "Whether the highest dpi on offer is real or stretched from fewer samples. Invented "
        "samples add no detail, so the top of the spectrum stays empty.",
        "a scan of the bed sheet, or of any page, at the highest dpi on offer",
    ),
    "colour": Family(
        "Colour registration",
        "Red, green and blue should record the same place. Where they do not, black lines get "
        "coloured fringes. The shift of red and of blue against green is given in pixels of the "
        "scan; plus means to the right (across) or down (travel).",
        "a colour scan of the bed sheet",
    ),
    "streaks": Family(
        "Streaks",
        "Lines that run the whole way through a scan of plain paper. The mean of thousands of "
        "rows shows lines far too faint for the eye; those that an eye would see are marked "
        "visible. Dark lines point to dirt on the moving parts, bright ones to dirt on the white "
        "strip that the scanner calibrates itself on.",
        "a scan of plain white paper over the whole bed (better two, the paper moved between)",
    ),
    "glass": Family(
        "Marks on the glass",
        "Spots and scratches that stay in place while the paper moves. What moves along with the "
        "paper is paper and is not counted.",
        "two scans of plain white paper, the paper moved between",
    ),
    "banding": Family(
        "Banding",
        "A brightness change that repeats along the travel of the carriage.",
        "a scan of plain white paper over the whole bed",
    ),
    "veil": Family(
        "Stray light",
        "Haze on mirrors, lens or glass sends some of the light of white paper into the black "
        "beside it. Print turns grey, and no setting brings the contrast back.",
        "a scan of the bed sheet",
    ),
    "shading": Family(
        "Evenness of light",
        "How evenly plain paper comes out over the bed. Scanners even out their lamp by "
        "calibration; what is left is shown here.",
        "a scan of plain white paper over the whole bed",
    ),
    "edges": Family(
        "Edges of the bed",
        "How close to the edges the scanner sees well. The dead margin is glass that the sensor "
        "never sees; the shadow is the strip beside the edge that comes out darker than the rest. "
        "What remains is the usable rectangle. The side of the book edge decides how much of a "
        "bound page is lost.",
        "a scan of plain white paper over the whole bed; for the dead margin also the edge strip",
    ),
    "gutter": Family(
        "Gutter",
        "Near the spine an open page rises from the glass and gets darker. ΔL* is the darkening "
        "in steps of lightness: 2 is hard to see, 5 is plain, 10 disturbs reading. With a gutter "
        "ramp in the set the darkening is explained: how much light reaches a page at each height, "
        "how high the page lifts at each distance, and up to which height fine detail stays sharp.",
        "a scan of a bound book open at white pages",
    ),
    "noise": Family(
        "Noise",
        "Grain. Temporal noise differs from scan to scan; fixed-pattern noise stays in place. "
        "The total includes the grain of the paper itself.",
        "scans of plain white paper, two or more in a row",
    ),
    "tone": Family(
        "Tone",
        "Which lightness white paper and black come out with, and how much is cut off at the top "
        "of the scale, where detail is lost for good.",
        "a scan of plain white paper; for black also a dark scan",
    ),
    "geometry": Family(
        "Geometry",
        "Whether lengths and angles are true: the dpi really delivered in both directions, how "
        "square the picture is, and what bend is left. The printer of the sheet has its share in "
        "these numbers unless the bars were measured with a steel rule.",
        "a scan of the bed sheet",
    ),
    "drift": Family(
        "Drift",
        "How the level settles over scans taken one after the other.",
        "several scans of plain white paper taken one after the other",
    ),
    "backing": Family(
        "Show-through",
        "How much print on the back of a page shows through, by what lies behind it.",
        "two scans of a sheet printed on its back only: under the lid, and under black card",
    ),
    "processing": Family(
        "Hidden processing",
        "Traces of what the scanner's software does unasked: sharpening, automatic levels, "
        "smoothing, lossy compression, cropping. What they spoil is marked as not measurable.",
        "any scan",
    ),
    "pace": Family(
        "Pace",
        "Seconds for one scan of the whole bed, and the pages an hour of steady work makes. "
        "The times are those that scanqa capture wrote into the files; the dates of files are not "
        "used, because laying the next page lies between them and copying changes them.",
        "scans made by scanqa capture",
    ),
}

# Families named in "not measured" when they are missing altogether. The others are named only
# when a measure of theirs is in the catalogue.
ROLE_WORDS: dict[str, str] = {
    "blank": "plain white paper",
    "dark": "dark: black card or open lid",
    "bed-sheet": "bed sheet",
    "edge-strip": "edge strip",
    "gutter-ramp": "gutter ramp",
    "open-book": "open book",
    "back-print": "sheet printed on its back",
    "claim": "page at the highest dpi",
}

LABELS: dict[str, str] = {
    "sharpness.sfr50": "SFR50",
    "sharpness.sfr10": "SFR10",
    "sharpness.peak": "Highest SFR",
    "colour.registration": "Colour registration",
    "noise.snr": "Signal to noise",
    "noise.total": "Total noise",
    "noise.temporal": "Temporal noise",
    "noise.fixed_pattern": "Fixed-pattern noise",
    "tone.clipped": "Clipped pixels",
    "tone.white": "White paper",
    "tone.black": "Black",
    "shading.nonuniformity": "Unevenness",
    "tone.range": "Density range",
    "tone.response": "Tone response",
    "glass.marks": "Marks on the glass",
    "noise.read": "Read noise",
    "noise.gain": "Gain of the sensor",
    "noise.paper": "Grain of the paper",
    "banding.amplitude": "Amplitude of banding",
    "banding.period": "Period of banding",
    "drift.level": "Change of level",
    "drift.settle_time": "Settling time",
    "backing.paper": "Paper on its backing",
    "streaks.strongest_visible": "Strongest visible streak",
    "streaks.column_pattern": "Column pattern",
    "gutter.plateau": "Open page away from the spine",
    "geometry.dpi_across": "True dpi across",
    "geometry.dpi_travel": "True dpi along travel",
}

GLOSSARY: tuple[tuple[str, str], ...] = (
    (
        "±",
        "Standard uncertainty: about two times in three the truth lies within it, and nineteen "
        "times in twenty within twice as much.",
    ),
    (
        "at least",
        "A lower bound: the scanner may be better, but the sheet, the set-up or the "
        "file was the limit. The reason stands beside it.",
    ),
    ("not measurable", "There is no value, and the reason is given. It is never a zero."),
    (
        "across, travel",
        "Across is along the sensor line (left to right in the image), travel is "
        "along the way of the carriage (top to bottom).",
    ),
    (
        "place",
        "Millimetres from the top-left corner of the image as delivered: x to the right, y down.",
    ),
    (
        "median",
        "The middle one of the values from all places, so that a single bad place does "
        "not hide or spoil the rest.",
    ),
    ("dpi", "Samples per inch as delivered. Effective dpi is what the optics support."),
    (
        "cy/mm",
        "Cycles (a dark and a light line) per millimetre. 300 dpi can hold at most 5.9, "
        "600 dpi 11.8.",
    ),
    (
        "SFR",
        "Spatial frequency response: the share of contrast left at a fineness of detail, "
        "1 being all of it (ISO 12233, slanted edge).",
    ),
    (
        "L*, ΔL*",
        "Lightness as the eye steps it, 0 black to 100 white (CIE), and a difference of "
        "it. The top of the scanner's scale counts as white.",
    ),
    ("luma", "Red, green and blue light summed in the eye's proportions."),
    (
        "printed, cut",
        "A printed edge is as rough as the printer made it; a cut edge of white "
        "paper before black card is sharper than any scanner.",
    ),
)
