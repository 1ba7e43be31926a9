"""Which settings to scan with: see `scanqa.capture.device` for what is read from the device."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from scanqa.capture.device import (
    DEEPEST,
    OWN,
    Option,
    Options,
    Settings,
    read_options,
)
from scanqa.capture.driver_options import (
    Look,
    asking_for,
    calibrated,
    calibrating,
    plain,
    table,
)
from scanqa.errors import BadOption
from scanqa.model import MM_PER_INCH

COLOUR = re.compile(r"colou?r|rgb", re.IGNORECASE)
GREY = re.compile(r"gr[ae]y", re.IGNORECASE)
COARSE = re.compile(r"line.?art|binary|halftone|dither|diffus|fast|draft|\b1.?bit", re.IGNORECASE)
# The middle part that is scanned at the highest dpi. Tags stand 43 mm apart and are 18 mm wide as
# they lie, so 110 mm hold two of them each way wherever it begins; at 4800 dpi that is a file of
# 1.3 GB with 8 bits, which is all that the question of the dpi needs.
CLAIM_MM, CLAIM_PX, CLAIM_BITS = 110.0, 21_000, 8


def choose(
    device: str,
    *,
    dpi: float | None,
    extra: Mapping[str, str] | None = None,
    middle: bool = False,
    grey: bool = False,
    look: Look | None = None,
) -> Settings:
    """Settings for a scan that can be measured; calibrated anew where the driver offers it.

    Parameters
    ----------
    device : str
        Its name in SANE.
    dpi : float or None
        Samples per inch; None takes the highest on offer.
    extra : mapping of str to str
        Values of the device's own options that the user sets; they go before ours.
    middle, grey : bool
        Scan the middle of the bed only, with 8 bits (for a dpi at which a whole bed is too much);
        grey instead of colour.
    look : str or None
        A look that only the driver can give: `driver_options` says which option asks for it.

    Raises
    ------
    BadOption
        If the device does not offer the dpi, the look, or an option or value of `extra`.
    ScanFailed
        If the device does not answer.
    """
    extra = extra or {}
    first, notes = _source_and_mode(read_options(device), extra, grey=grey)
    offered = read_options(device, tuple(first.items()))
    _check_extra(offered, extra)
    dpi = highest_dpi(offered) if dpi is None else dpi
    size_mm, area = _area(offered, dpi, middle=middle)
    values = {
        **first,
        **_depth(offered, most=CLAIM_BITS if middle else DEEPEST),
        **_dpi(offered, dpi),
        **_switched(offered, look, notes, left=set(extra)),
    }
    values |= {name: value for name, value in extra.items() if name not in first} | area
    after = read_options(device, tuple(values.items()))
    mode, bits = values.get("mode", ""), values.get("depth", "")
    return Settings(
        device=device,
        values=tuple(values.items()),
        dpi=dpi,
        channels=3 if COLOUR.search(mode) or not mode else 1,
        bits=8 * -(-int(bits) // 8) if bits.isdigit() else None,
        size_mm=size_mm,
        mode=mode,
        notes=tuple(notes),
        all_options={name: option.value for name, option in after.items()} | values,
        calibrated=calibrated(values, offered),
    )


def highest_dpi(options: Options) -> float:
    """Highest dpi that a device offers in both directions.

    Raises
    ------
    BadOption
        If it has no option for it.
    """
    names = _dpi_names(options)
    return min(max(options[n].numbers or [options[n].high or 0.0]) for n in names)


def offers_dpi(options: Options, dpi: float) -> bool:
    """Whether a device offers a dpi in both directions."""
    return all(options[name].offers(dpi) for name in _dpi_names(options))


def _source_and_mode(
    options: Options, extra: Mapping[str, str], *, grey: bool
) -> tuple[dict[str, str], list[str]]:
    """What decides which other options there are: the flatbed and colour."""
    values, notes = {}, []
    source = options.get("source")
    if source and source.active:
        flat = [choice for choice in source.choices if "flat" in choice.lower()]
        wanted = extra.get("source", flat[0] if flat else "")
        if wanted:
            _check_value(source, wanted)
            values["source"] = wanted
    mode = options.get("mode")
    if mode and mode.active:
        kinds = (GREY, COLOUR) if grey else (COLOUR, GREY)
        wanted = extra.get("mode") or _mode(mode, kinds[0])
        if not wanted:
            wanted = _mode(mode, kinds[1])
            notes.append(f"the scanner offers no {'grey' if grey else 'colour'} mode")
        if not wanted:
            raise BadOption(f"the scanner offers neither colour nor grey, only {mode.words}")
        _check_value(mode, wanted)
        values["mode"] = wanted
    return values, notes


def _mode(option: Option, kind: re.Pattern[str]) -> str:
    """The finest mode of a kind: most bits, then the plainest name; empty if there is none."""
    fitting = [c for c in option.choices if kind.search(c) and not COARSE.search(c)]

    def rank(choice: str) -> tuple[int, int]:
        bits = re.search(r"\d+", choice)
        return (-int(bits[0]) if bits else 0, len(choice))

    return min(fitting, key=rank, default="")


def _depth(options: Options, *, most: int) -> dict[str, str]:
    depth = options.get("depth")
    if not depth or not depth.active:
        return {}
    numbers = depth.numbers or [n for n in (8.0, 16.0) if depth.offers(n)]
    usable = [int(n) for n in numbers if 8 <= n <= DEEPEST]
    if not usable:
        return {}
    return {"depth": str(max((n for n in usable if n <= most), default=min(usable)))}


def _dpi(options: Options, dpi: float) -> dict[str, str]:
    names = _dpi_names(options)
    for name in names:
        if not options[name].offers(dpi):
            raise BadOption(f"the scanner offers no {dpi:g} dpi; it offers {options[name].words}")
    return dict.fromkeys(names, f"{dpi:g}")


def _dpi_names(options: Options) -> list[str]:
    for names in (["resolution"], ["x-resolution", "y-resolution"]):
        if all(name in options and options[name].active for name in names):
            return names
    raise BadOption(
        "the scanner has no option for the dpi; scan with its own software and use --from-folder"
    )


def _switched(
    options: Options, look: Look | None, notes: list[str], *, left: set[str]
) -> dict[str, str]:
    """What improves the picture switched off, calibration made anew, a look asked for."""
    asked = {} if look is None else _looking(options, look)
    kept = frozenset({*left, *asked})
    values, stuck = plain(options, left=kept)
    notes += [f"the scanner does not let {name} be switched off" for name in stuck]
    anew = {} if look == "uncalibrated" else calibrating(options, left=kept)
    return {**values, **anew, **asked}


def _looking(options: Options, look: Look) -> dict[str, str]:
    asked = asking_for(options, look)
    if not asked:
        names = ", ".join(row.name.replace("|", ", ") for row in table() if row.look == look)
        raise BadOption(f"--look {look}: this driver has no option for it (known are {names})")
    return asked


def _area(
    options: Options, dpi: float, *, middle: bool
) -> tuple[tuple[float, float] | None, dict[str, str]]:
    """Size in mm and settings of the whole bed, or of its middle."""
    sides = [options[name] for name in ("l", "t", "x", "y") if name in options]
    if len(sides) < 4 or any(side.high is None for side in sides):
        return None, {}
    left, top, width, height = sides
    mm = MM_PER_INCH / dpi if width.unit == "pel" else 1.0
    most = min(CLAIM_MM, CLAIM_PX * MM_PER_INCH / dpi) / mm if middle else math.inf
    values = {}
    kept = {}
    for start, length in ((left, width), (top, height)):
        whole = length.high or 0.0
        kept[length.name] = whole if whole <= most else float(int(most))
        spare = int((whole - kept[length.name]) / 2)
        values[start.name] = f"{(start.low or 0.0) + spare:g}"
    values |= {name: f"{side:g}" for name, side in kept.items()}
    return (kept["x"] * mm, kept["y"] * mm), values


def _check_extra(options: Options, extra: Mapping[str, str]) -> None:
    for name, value in extra.items():
        if name in OWN or name not in options:
            raise BadOption(f"--set {name}: the scanner has no such option (see --list)")
        if name in ("l", "t", "x", "y") or name.endswith("resolution"):
            raise BadOption(f"--set {name}: the whole bed is scanned, at the dpi of --dpi")
        _check_value(options[name], value)


def _check_value(option: Option, value: str) -> None:
    if not value.isprintable():
        raise BadOption(f"--set {option.name}: cannot be a value")
    if option.choices and value not in option.choices:
        raise BadOption(f"--set {option.name}={value}: the scanner offers {option.words}")
    if option.low is not None and not (_is_number(value) and option.offers(float(value))):
        raise BadOption(f"--set {option.name}={value}: the scanner offers {option.words}")


def _is_number(text: str) -> bool:
    return re.fullmatch(r"-?\d+(\.\d+)?", text) is not None
