"""What is done with the options that a SANE driver offers, by name: ``driver_options.toml``.

Written from what was read of drivers, not tried on real scanners; the table says where.
"""

from __future__ import annotations

import re
import time
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Literal, get_args

from scanqa.capture.device import Option, Options
from scanqa.model import Calibrated

Does = Literal["off", "zero", "plain", "calibrate", "number", "as found"]
Look = Literal["dark-frame", "white-strip", "uncalibrated"]

LOOKS: tuple[Look, ...] = get_args(Look)
OFF = ("no", "off", "none", "disabled", "0", "never")


@dataclass(frozen=True, slots=True)
class Known:
    """A row of the table.

    Attributes
    ----------
    name : str
        Regular expression for whole names, any case.
    value : str
        Of a row that calibrates: what it is set to; empty for a button.
    look : str
        The look that asks for it; empty if none does.
    """

    name: str
    does: Does
    why: str
    read: str
    value: str = ""
    look: Look | Literal[""] = ""


@cache
def table() -> tuple[Known, ...]:
    """All rows, in order."""
    text = resources.files("scanqa.capture").joinpath("driver_options.toml").read_text("utf-8")
    return tuple(Known(**row) for row in tomllib.loads(text)["option"])


DONE: dict[Does, str] = {
    "off": "switched off",
    "zero": "set to 0",
    "plain": "off, for a scan that is measured",
    "calibrate": "calibrates anew",
    "number": "kept with the scan, followed",
    "as found": "left as it is",
}
HEAD = """# What is done with the options of SANE drivers

Made by `python -m scanqa.capture.driver_options` from `driver_options.toml`; do not edit by hand.
The first row that fits a whole name decides; what no row fits is left as it is. Written from what
was read, not tried on real scanners. `scanqa capture --list --device NAME` shows what yours offers
and what would be set.

| name (regular expression) | what is done | what it is for | where it was read |
| --- | --- | --- | --- |
"""


def as_markdown() -> str:
    """The table for readers."""
    rows = []
    for row in table():
        done = DONE[row.does]
        if row.does == "calibrate":
            done += f": `{row.value}`" if row.value else ": pressed, where no setting does it"
        if row.look:
            done += f"; on for `--look {row.look}`"
        name = row.name.replace("|", "\\|")
        rows.append(f"| `{name}` | {done} | {row.why} | {row.read} |")
    return HEAD + "\n".join(rows) + "\n"


def known(name: str) -> Known | None:
    """The row for an option; None for one that nobody has read about."""
    return next((row for row in table() if re.fullmatch(row.name, name, re.IGNORECASE)), None)


def plain(options: Options, *, left: frozenset[str]) -> tuple[dict[str, str], tuple[str, ...]]:
    """Values that switch off what changes the picture; names of what cannot be switched off.

    Parameters
    ----------
    options : mapping
        On offer.
    left : frozenset of str
        Names that the user sets.
    """
    values, stuck = {}, []
    for name, option in _free(options, left):
        row = known(name)
        if row is None or row.does not in ("off", "zero", "plain"):
            continue
        off = _zero(option) if row.does == "zero" else _off(option)
        if off is not None:
            values[name] = off
        elif row.does == "off" and (option.choices or option.low is not None):
            stuck.append(name)
    return values, tuple(stuck)


def calibrating(options: Options, *, left: frozenset[str]) -> dict[str, str]:
    """Values with which a driver calibrates before each scan, as far as it offers any.

    A button is pressed only where no setting does it.
    """
    values, buttons = {}, {}
    for name, option in _free(options, left):
        row = known(name)
        if row is None or row.does != "calibrate":
            continue
        if row.value == "" and option.is_button:
            buttons[name] = ""
        elif row.value and _takes(option, row.value):
            values[name] = row.value
    return values or buttons


def asking_for(options: Options, look: Look) -> dict[str, str]:
    """The value that asks for a look: of the first option that offers it; empty if none does."""
    for row in table():
        for name, option in options.items():
            fits = row.look == look and re.fullmatch(row.name, name, re.IGNORECASE)
            if fits and option.active and _takes(option, "yes"):
                return {name: "yes"}
    return {}


def calibrated(values: Mapping[str, str], offered: Options) -> Calibrated:
    """What is known of the calibration under some settings."""
    rows = [(known(name), value) for name, value in values.items()]
    if any(row and row.look == "uncalibrated" and value == "yes" for row, value in rows):
        return "off"
    if any(row and row.does == "calibrate" and value == row.value for row, value in rows):
        return "each-scan"
    keeps = [row for row in map(known, offered) if row and row.does == "calibrate"]
    return "kept" if keeps else "not-told"


def kept_min(values: Mapping[str, str]) -> float | None:
    """Age of the kept calibration in minutes, by the date of the file that the driver names."""
    path = values.get("calibration-file", "")
    try:
        age_s = time.time() - Path(path).stat().st_mtime if path else -1.0
    except (OSError, ValueError):  # not there, not ours to see, or no name of a file
        return None
    return round(age_s / 60, 1) if age_s >= 0 else None


def numbers(values: Mapping[str, str]) -> tuple[tuple[str, float], ...]:
    """Gains and offsets among the values of a device, by name."""
    found = []
    for name, value in values.items():
        row = known(name)
        if row and row.does == "number" and re.fullmatch(r"-?\d+(\.\d+)?", value):
            found.append((name, float(value)))
    return tuple(sorted(found))


def as_found(options: Options) -> tuple[tuple[str, str, str], ...]:
    """Name, value and reason of options that are named in the table and left as they are."""
    rows = [(name, option.value, known(name)) for name, option in options.items()]
    return tuple((n, value, row.why) for n, value, row in rows if row and row.does == "as found")


def _free(options: Options, left: frozenset[str]) -> list[tuple[str, Option]]:
    return [(name, o) for name, o in options.items() if o.active and name not in left]


def _off(option: Option) -> str | None:
    choices = [choice for choice in option.choices if choice.lower() in OFF]
    if choices:
        return choices[0]
    return "0" if option.offers(0) else None


def _zero(option: Option) -> str | None:
    below = option.low if option.low is not None else min(option.numbers, default=0.0)
    return "0" if below < 0 and option.offers(0) else None


def _takes(option: Option, value: str) -> bool:
    if value in option.choices:
        return True
    return re.fullmatch(r"-?\d+", value) is not None and option.offers(float(value))


if __name__ == "__main__":
    Path(__file__).with_name("driver_options.md").write_text(as_markdown(), "utf-8")
