"""What a scanner offers, and the settings that let it be measured.

Option names and units are SANE's (saneopts.h); the values of a choice ("Color", "Flatbed") are each
driver's own and are read from the device, never assumed. Settings: colour, the highest depth, no
compression, nothing that improves or crops the picture. What a driver does not let us switch off
is noted. A numeric gamma is left as it is: drivers differ in what it means.

Names and values reach ``scanimage`` as single arguments (``--name=value``); no shell sees them.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scanqa.capture.faults import ScanFailed, failure
from scanqa.errors import BadOption
from scanqa.model import MM_PER_INCH, Calibrated

PROGRAM = "scanimage"
ANSWER_S = 60.0  # some drivers search the network before they answer
DEEPEST = 16  # bits that a scan may have
# Options of scanimage itself: a device that offers one of these names is not to be believed.
OWN = frozenset(
    {"accept-md5-only", "batch", "batch-count", "batch-double", "batch-increment", "batch-print"}
    | {"batch-prompt", "batch-start", "buffer-size", "device-name", "dont-scan", "all-options"}
    | {"format", "formatted-device-list", "help", "icc-profile", "list-devices", "output-file"}
    | {"print-options", "progress", "test", "verbose", "version"}
)

SHORT = frozenset("ltxy")

Values = tuple[tuple[str, str], ...]  # names and values in the order in which they are set


@dataclass(frozen=True, slots=True)
class Device:
    """A scanner that SANE found."""

    name: str
    vendor: str
    model: str
    kind: str


@dataclass(frozen=True, slots=True)
class Option:
    """A setting that a device offers.

    Attributes
    ----------
    choices : tuple of str
        Values to choose from, if it is a choice; ``yes`` and ``no`` for a switch.
    low, high, step : float
        If it is a range; step 0 is no step.
    unit : str
        As scanimage writes it: ``dpi``, ``mm``, ``pel``, ``bit``, ``%``, ``us`` or nothing.
    value : str
        Its present value; empty when it is not active or has none.
    active : bool
        Whether it can be set now.
    is_button : bool
        Whether it is pressed: nothing stands behind its name.
    """

    name: str
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    step: float = 0.0
    unit: str = ""
    value: str = ""
    active: bool = True
    is_button: bool = False

    def offers(self, number: float) -> bool:
        """Whether a number is one of the choices or lies on a step of the range."""
        if self.low is not None and self.high is not None:
            steps = (number - self.low) / self.step if self.step else 0.0
            return self.low <= number <= self.high and abs(steps - round(steps)) < 1e-6
        return any(abs(number - offered) < 1e-6 for offered in self.numbers)

    @property
    def numbers(self) -> list[float]:
        """Choices that are numbers, rising."""
        return sorted(float(c) for c in self.choices if re.fullmatch(r"-?\d+(\.\d+)?", c))

    @property
    def words(self) -> str:
        """What it offers, in words."""
        if self.low is not None:
            step = f" in steps of {self.step:g}" if self.step else ""
            return f"{self.low:g} to {self.high:g}{step} {self.unit}".strip()
        return f"{', '.join(self.choices)} {self.unit}".strip()


Options = Mapping[str, Option]


@dataclass(frozen=True, slots=True)
class Settings:
    """How to scan, and what must come out.

    Attributes
    ----------
    values : names and values
        In the order in which they are set.
    dpi : float
        Samples per inch, the same in both directions.
    channels : int
        1 or 3.
    bits : int or None
        None if the driver does not say.
    size_mm : (width, height) or None
        Of the area, None if the driver does not say.
    mode : str
        The driver's word for colour or grey.
    notes : tuple of str
        What could not be had as wished.
    all_options : mapping
        Every option of the device with its value under these settings.
    calibrated : str
        What is known of the driver's calibration under them.
    """

    device: str
    values: Values
    dpi: float
    channels: int
    bits: int | None
    size_mm: tuple[float, float] | None
    mode: str
    notes: tuple[str, ...] = ()
    all_options: Mapping[str, str] | None = None
    calibrated: Calibrated = "not-told"

    @property
    def size_bytes(self) -> int:
        """Expected size of the pixels; 0 if it cannot be known."""
        if self.size_mm is None:
            return 0
        across, down = (side * self.dpi / MM_PER_INCH for side in self.size_mm)
        return round(across * down) * self.channels * (self.bits or 8) // 8


def program() -> str:
    """Path of ``scanimage``.

    Raises
    ------
    BadOption
        If it is not installed.
    """
    found = shutil.which(PROGRAM)
    if found is None:
        raise BadOption(
            "scanimage is not installed; sudo apt install sane-utils, or use --from-folder"
        )
    return found


def plain_words() -> dict[str, str]:
    """Environment in which scanimage speaks English and writes decimal points."""
    return {**os.environ, "LC_ALL": "C.UTF-8", "LANGUAGE": ""}


def ask(arguments: Sequence[str], *, timeout_s: float = ANSWER_S) -> tuple[str, list[str]]:
    """Run ``scanimage`` for what it prints: its output and the lines of its standard error.

    Raises
    ------
    ScanFailed
        If it fails or does not answer in time.
    """
    try:
        done = subprocess.run(
            [program(), *arguments],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            env=plain_words(),
            timeout=timeout_s,
            check=False,
        )
    except subprocess.TimeoutExpired as error:
        raise ScanFailed(
            f"the scanner did not answer within {timeout_s:g} s",
            "check cable and power, switch it off and on",
        ) from error
    said = [line for line in done.stderr.decode("utf-8", "replace").splitlines() if line.strip()]
    if done.returncode != 0:
        raise failure(done.returncode, said)
    return done.stdout.decode("utf-8", "replace"), said


def list_devices() -> tuple[Device, ...]:
    """All scanners that SANE finds; the search may take a minute."""
    text, _ = ask(["-f", "%d\t%v\t%m\t%t%n"])
    rows = (line.split("\t") for line in text.splitlines())
    return tuple(Device(*row) for row in rows if len(row) == 4)


def check_name(device: str) -> str:
    """A device's name, if it can be one.

    Raises
    ------
    BadOption
        If it is empty, very long or holds control characters.
    """
    if not device.strip() or len(device) > 300 or not device.isprintable():
        raise BadOption(f"--device {device!r}: cannot be the name of a device")
    return device


def arguments(device: str, values: Values) -> list[str]:
    """Device and settings as arguments of ``scanimage``, each one a single word."""
    named = [_argument(name, value) for name, value in values]
    return [f"--device-name={device}", *named]


def _argument(name: str, value: str) -> str:
    if name in SHORT:
        return f"-{name}{value}"
    return f"--{name}={value}" if value else f"--{name}"  # a button takes no value


def read_options(device: str, values: Values = ()) -> dict[str, Option]:
    """Options of a device when some values are set.

    Raises
    ------
    ScanFailed
        If the device cannot be opened, or takes another value than the one given.
    """
    text, said = ask([*arguments(check_name(device), values), "-A"])
    refuse_rounded(said)
    return parse_options(text)


def refuse_rounded(said: Sequence[str]) -> None:
    """Raise if the device says that it takes another dpi or depth than it was told."""
    for line in said:
        found = re.search(r"rounded value of (\S*resolution|depth) from (\S+) to (\S+)", line)
        if found:
            what = "bits" if found[1] == "depth" else "dpi"
            raise ScanFailed(
                f"{found[2]} {what} is not available, the scanner would take {found[3]} {what}",
                f"ask for {found[3]} {what}",
            )


_LINE = re.compile(r"^ {4}--?(?P<name>[A-Za-z][\w-]*)(?P<rest>.*)$")
_FLAG = re.compile(r" \[(inactive|advanced|hardware|read-only)\]$")
_STEPS = re.compile(r" \(in steps of (?P<step>[\d.]+)\)$")
_NUMBER = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_RANGE = re.compile(rf"^(?P<low>{_NUMBER})\.\.(?P<high>{_NUMBER})(?P<unit>\D*)$")
_UNIT = re.compile(r"^(?P<number>-?\d+(?:\.\d+)?)(?P<unit>dpi|mm|pel|bit|%|us)$")


def parse_options(text: str) -> dict[str, Option]:
    """Options from what ``scanimage -A`` prints.

    A line is ``--name constraint [value] [flags]``; the lines of help below are set in deeper.
    """
    options = {}
    for line in text.splitlines():
        found = _LINE.match(line)
        if found and found["name"] not in OWN:
            options[found["name"]] = _option(found["name"], found["rest"])
    return options


def _option(name: str, rest: str) -> Option:
    flags = set()
    while flag := _FLAG.search(rest):
        flags.add(flag[1])
        rest = rest[: flag.start()]
    value = ""
    if rest.endswith("]") and " [" in rest:
        rest, _, value = rest[:-1].rpartition(" [")
    active = not flags & {"inactive", "hardware", "read-only"}
    button = not rest.strip() and not value
    step = 0.0
    if steps := _STEPS.search(rest):
        step, rest = float(steps["step"]), rest[: steps.start()]
    rest = rest.strip().removesuffix(",...").removeprefix("auto|")
    if rest.startswith("[=("):
        return Option(name, choices=("yes", "no"), value=value, active=active)
    if span := _RANGE.match(rest):
        low, high = float(span["low"]), float(span["high"])
        return Option(name, (), low, high, step, span["unit"], value, active)
    if not rest or rest.startswith("<"):
        return Option(name, value=value, active=active, is_button=button)
    choices, unit = rest.split("|"), ""
    if last := _UNIT.match(choices[-1]):  # the unit stands behind the last number only
        choices[-1], unit = last["number"], last["unit"]
    return Option(name, tuple(choices), unit=unit, value=value, active=active)
