"""Signs in words: what was seen, as the beginning of a title, and the numbers behind it."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from scanqa.model import Results, Seen
from scanqa.words.glossary import DIRECTION_WORDS
from scanqa.words.numbers import outward
from scanqa.words.of_spots import line_words, lines_words, marks_words

Said = tuple[str, str]  # short words, and what they rest on


def sign_words(seen: Seen, results: Results) -> Said:
    """What was seen, and what it rests on.

    Raises
    ------
    KeyError
        If the sign has no sentence.
    """
    if seen.streak is not None:
        return line_words(results.streaks[seen.streak])
    if seen.mark is not None:
        return marks_words(seen, results.marks[seen.mark])
    return SENTENCES[seen.sign](seen)


def titles(signs: Sequence[Seen], results: Results) -> str:
    """Short words of all signs; lines together."""
    lines = [seen for seen in signs if seen.streak is not None]
    parts = [sign_words(seen, results)[0] for seen in signs if seen.streak is None]
    return ", ".join(dict.fromkeys(([lines_words(lines, results)] if lines else []) + parts))


# ------------------------------------------------------------------------------------ detail


def _soft(seen: Seen) -> Said:
    ways = [way for way in DIRECTION_WORDS if way in seen.numbers]
    words = [f"{seen.numbers[way]:.0f} dpi {DIRECTION_WORDS[way]}" for way in ways]
    reasons = [
        f"{seen.numbers[way]:.0f} of the {seen.numbers[f'{way}_delivered']:.0f} dpi delivered "
        f"{DIRECTION_WORDS[way]}"
        for way in ways
    ]
    return (
        f"detail only up to about {' and '.join(words)}",
        f"edges show {' and '.join(reasons)}, at best",
    )


def _rough_print(seen: Seen) -> Said:
    rough, sites = (round(seen.numbers[name]) for name in ("rough", "sites"))
    return (
        "the print is rougher than the scanner is blurred",
        f"at {rough} of {sites} printed edges: {_quoted(seen)}",
    )


def _soft_place(seen: Seen) -> Said:
    n = seen.numbers
    return (
        f"softer at the {seen.terms['place'].replace('-', ' ')} ({_along(seen)})",
        f"SFR50 {n['here']:.1f} cy/mm there, {n['middle']:.1f} cy/mm over the bed, measured "
        f"{_along(seen)} (medians of {round(n['count'])} and {round(n['sites'])} edges)",
    )


def _fringes(seen: Seen) -> Said:
    shift = seen.numbers["px"]
    return (
        f"{seen.channel} lies {abs(shift):.2f} px beside green ({_along(seen)})",
        f"median over all edges: {shift:+.2f} px",
    )


# ------------------------------------------------------------------------------------- light


def _veil(seen: Seen) -> Said:
    percent = seen.numbers["percent"]
    return (
        f"{percent:.0f} % of the light strays into black",
        f"black ink is lighter in white surroundings: {percent:.1f}{_plus_minus(seen, 1)} % of the "
        "light strays (1 to 2 % is usual)",
    )


def _uneven(seen: Seen) -> Said:
    percent = seen.numbers["percent"]
    return (
        f"light is uneven by {percent:.1f} %",
        f"lightest against darkest part of the bed: {percent:.1f} %, edge shadows left out",
    )


def _falls_one_side(seen: Seen) -> Said:
    side, distance = seen.terms["side"], round(seen.numbers["distance_mm"])
    return (
        f"light falls by {seen.numbers['percent']:.1f} % toward the {side} edge",
        f"{distance} mm from the {side} edge, against the middle of the bed",
    )


def _slope(seen: Seen) -> Said:
    slope, distance = seen.numbers["percent"], round(seen.numbers["distance_mm"])
    return (
        f"light grows {'brighter' if slope > 0 else 'darker'} by {abs(slope):.1f} % along travel",
        f"from {distance} mm below the top to {distance} mm above the bottom of one scan",
    )


def _shadow(seen: Seen) -> Said:
    depth = seen.numbers["mm"]
    return (
        f"shadow {depth:.1f} mm deep along the {seen.terms['side']} edge",
        f"{depth:.2f}{_plus_minus(seen)} mm to within 2 L* of the level inside",
    )


def _dead_margin(seen: Seen) -> Said:
    margin = seen.numbers["mm"]
    return (
        f"{margin:.1f} mm at the {seen.terms['side']} edge are never seen",
        f"{margin:.2f}{_plus_minus(seen)} mm by the strip hooked over that edge",
    )


def _drifts(seen: Seen) -> Said:
    percent = seen.numbers["percent"]
    return (
        f"the level {'rises' if percent > 0 else 'falls'} by {abs(percent):.1f} % from scan to "
        "scan",
        f"first against last blank scan: {percent:+.1f}{_plus_minus(seen)} %",
    )


def _settles_slowly(seen: Seen) -> Said:
    seconds = seen.numbers["seconds"]
    at_least = seen.terms["bound"] == "at-least"
    said = f"more than {outward(seconds, upper=False)}" if at_least else f"{seconds:.0f}"
    return (
        f"the light needs {said} s to settle",
        "time until blank scans stay within 0.5 % of their end",
    )


def _dark_gutter(seen: Seen) -> Said:
    reach = seen.numbers.get("reach_mm")
    until = "" if reach is None else f"; less than 5 L* darker from {reach:.1f} mm on"
    return (
        f"the page is {seen.numbers['delta_L']:.1f} L* darker 5 mm from the spine",
        f"paper level of the open book, median along the spine{until}",
    )


def _shallow_depth(seen: Seen) -> Said:
    depth = seen.numbers["mm"]
    return (
        f"sharp only {depth:.1f} mm deep",
        f"fine detail has halved {depth:.2f}{_plus_minus(seen)} mm above the glass, by the gutter "
        "ramp",
    )


# ------------------------------------------------------------------------------------ unrest


def _little_light(seen: Seen) -> Said:
    index, error = seen.numbers["index"], seen.numbers["uncertainty"]
    return (
        f"little light reaches the sensor ({index:.0f} thousand electrons)",
        f"the grain on white paper is what {index:.1f} ± {error:.1f} thousand electrons at full "
        "scale would give",
    )


def _grainy(seen: Seen) -> Said:
    grain = seen.numbers["delta_L"]
    return (
        f"grain of {grain:.1f} L* on white paper",
        f"standard deviation of what changes from scan to scan: {grain:.2f} L*",
    )


def _fainter(seen: Seen) -> Said:
    n = seen.numbers
    percent = 100 * n["ratio"]
    return (
        f"{percent:.0f} % of the light of the earlier check is left",
        f"light index {n['index']:.1f} against {n['before']:.1f} thousand electrons: "
        f"{percent:.0f} ± {100 * n['uncertainty']:.0f} %",
    )


def _bands(seen: Seen) -> Said:
    period = seen.numbers.get("period_mm")
    every = "" if period is None else f" every {period:.2f} mm"
    return f"bands of {seen.numbers['percent']:.2f} %{every} along travel", _quoted(seen)


def _unsteady(seen: Seen) -> Said:
    percent = seen.numbers["percent"]
    return (
        f"rows differ irregularly by {percent:.2f} %",
        f"rms of what all columns share from row to row, beside a regular wave: {percent:.2f} %",
    )


def _jitter(seen: Seen) -> Said:
    um = seen.numbers["um"]
    return (
        f"the carriage runs unsteadily by {um:.0f} µm",
        f"standard deviation of where rows lie: {um:.0f} µm",
    )


# ------------------------------------------------------------------------------------ driver


def _invented(seen: Seen) -> Said:
    return (
        f"only {100 * seen.numbers['fraction']:.0f} % of the dpi is real ({_along(seen)})",
        f"{seen.scan}: {_quoted(seen)}",
    )


def _sharpened(seen: Seen) -> Said:
    halo, peak = seen.numbers.get("halo_percent"), seen.numbers.get("peak")
    reasons = []
    if halo is not None:
        reasons.append(f"halo of {halo:.1f} % beside edges, which no lens makes")
    if peak is not None:
        reasons.append(f"contrast is boosted to {peak:.2f} at some detail sizes")
    return "the software sharpens", "; ".join(reasons)


def _smoothed(seen: Seen) -> Said:
    return (
        "the finest grain was smoothed away",
        f"grain kept {seen.numbers['kept']:.2f}, 1 without smoothing",
    )


def _compressed(seen: Seen) -> Said:
    where = {
        "lossless": "though the file is lossless",
        "lossy": "by the file's own compression",
    }[seen.terms["file"]]
    quality = seen.numbers["quality"]
    return f"traces of lossy compression of quality {quality:.0f}, {where}", _quoted(seen)


# ------------------------------------------------------------------------------------- shape


def _not_square(seen: Seen) -> Said:
    deg = seen.numbers["deg"]
    return (
        f"the picture is {abs(deg):.2f}° out of square",
        _and_quoted(f"sensor line against travel: {deg:+.2f}{_plus_minus(seen)}°", seen),
    )


def _wrong_size(seen: Seen) -> Said:
    percent = seen.numbers["percent"]
    return (
        f"lengths {_along(seen)} come out {abs(percent):.1f} % too {_size(percent)}",
        _and_quoted(f"{seen.numbers['dpi']:.1f} dpi", seen),
    )


def _print_size(seen: Seen) -> Said:
    percent = seen.numbers["percent"]
    return (
        f"the sheet was printed {abs(percent):.1f} % too {_size(percent)}",
        f"{percent:+.2f}{_plus_minus(seen)} %",
    )


def _print_not_square(seen: Seen) -> Said:
    deg = seen.numbers["deg"]
    return (
        f"the sheet was printed {abs(deg):.2f}° out of square",
        f"{deg:+.2f}{_plus_minus(seen)}°",
    )


# ------------------------------------------------------------------------------ small words


def _along(seen: Seen) -> str:
    return DIRECTION_WORDS[seen.direction or ""]


def _size(percent: float) -> str:
    return "large" if percent > 0 else "small"


def _quoted(seen: Seen) -> str:
    return "; ".join(seen.quoted)


def _and_quoted(words: str, seen: Seen) -> str:
    return "; ".join((words, *seen.quoted))


def _plus_minus(seen: Seen, digits: int = 2) -> str:
    """`` ± 0.12``, or nothing where no uncertainty is known."""
    error = seen.numbers.get("uncertainty")
    return f" ± {error:.{digits}f}" if error else ""


SENTENCES: dict[str, Callable[[Seen], Said]] = {
    "soft": _soft,
    "rough-print": _rough_print,
    "soft-place": _soft_place,
    "fringes": _fringes,
    "fringes-change": lambda _: (
        "colour fringes change along the sensor line",
        "a lens that focuses colours at unlike scales shifts them more toward the ends",
    ),
    "veil": _veil,
    "uneven": _uneven,
    "falls-one-side": _falls_one_side,
    "slope": _slope,
    "shadow": _shadow,
    "dead-margin": _dead_margin,
    "drifts": _drifts,
    "settles-slowly": _settles_slowly,
    "dark-gutter": _dark_gutter,
    "shallow-depth": _shallow_depth,
    "little-light": _little_light,
    "grainy": _grainy,
    "fainter": _fainter,
    "bands": _bands,
    "unsteady": _unsteady,
    "jitter": _jitter,
    "invented": _invented,
    "resampled": lambda seen: (
        "trace of resampling, factor not certain",
        f"{seen.scan}: {_quoted(seen)}",
    ),
    "sharpened": _sharpened,
    "stretched": lambda seen: ("levels were stretched after digitising", _quoted(seen)),
    "smoothed": _smoothed,
    "compressed": _compressed,
    "cropped": lambda seen: (
        f"scans of the whole bed differ in size by {seen.numbers['mm']:.0f} mm",
        _quoted(seen),
    ),
    "clipped": lambda seen: (
        f"{seen.numbers['percent']:.1f} % of pixels sit at the top of the scale",
        "in the worst of the scans; shading and noise are hidden there",
    ),
    "not-square": _not_square,
    "wrong-size": _wrong_size,
    "print-size": _print_size,
    "print-not-square": _print_not_square,
}
