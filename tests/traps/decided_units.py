"""Simulated units for the table of decided cases, and the truth about each in closed form.

No measure and no grid of the simulator is used: a unit's numbers follow from its parameters by the
formulas below, and its words from the limits of ``uses.toml``.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import resources

from scanqa.simulate.device_faults import Falloff, Shadow, Streak
from scanqa.simulate.scanner import Lamp, Optics, Output, Scanner, Sensor

GLASS = (84.0, 118.0)  # mm: holds twelve tags and a cut window of the bed sheet
LARGER = (142.0, 150.0)  # to tell made-up dpi takes more print
PAPER_LIGHT = 0.84  # reflectance of the blank paper
BOOK_LIGHT = 0.76  # and of the book's
LIFT_MM, LIFTED_MM = 4.0, 22.0  # a stiff book: height at the spine, length of the lifted part
FAR_MM = 170.0  # where the falloff of uneven units ends: so gentle that it is no edge shadow
LUMA = (0.2126, 0.7152, 0.0722)  # IEC 61966-2-1
WORDS = ("fit", "limited", "unfit")


@dataclass(frozen=True)
class Unit:
    """A scanner, how grave its fault is, and what its parameters make of each measure.

    Attributes
    ----------
    kind : str
        ``sound``, ``mildly faulty`` or ``gravely faulty``.
    fault : str
        What is wrong with it, in words.
    line_percent : float
        Contrast of its line.
    """

    kind: str
    fault: str
    optics: tuple[float, float] = (24.0, 24.0)  # Gaussian sigma across and along travel, µm
    line_percent: float = 0.0
    loss: float = 0.0  # share of light lost at the left side
    shift_px: float = 0.05  # of red down and of blue up
    native_dpi: float | None = None
    grain: float = 0.0  # sigma of the read noise, share of full scale
    half_height_mm: float = 12.0
    shadow: Shadow | None = None
    glass: tuple[float, float] = GLASS
    more: Mapping[str, object] = field(default_factory=dict)

    @property
    def name(self) -> str:
        """Kind and fault."""
        return f"{self.kind}: {self.fault}"

    @property
    def white(self) -> float:
        """Reflectance at the top of the scale: a grainy unit exposes less, or its grain clips."""
        return 1.3 if self.grain else 0.92

    def scanner(self) -> Scanner:
        """The unit on the simulated bench."""
        well = 60_000.0
        given: dict[str, object] = {
            "glass_mm": self.glass,
            "optics": Optics(*self.optics),
            "lamp": Lamp(half_height_mm=self.half_height_mm, vignetting=0 if self.grain else 0.3),
            "sensor": Sensor(
                well,
                self.grain * well or 25.0,
                math.inf if self.grain else 256.0,
                red_px=(0.0, self.shift_px),
                blue_px=(0.0, -self.shift_px),
            ),
            "white_reflectance": self.white,
        }
        if self.line_percent:
            given["streaks"] = (Streak(52.0, 500.0, self.line_percent / 100),)
        if self.loss:
            given["falloff"] = {"left": Falloff(self.loss, FAR_MM)}
        if self.shadow:
            given["shadows"] = {"left": self.shadow}
        if self.native_dpi:
            given["output"] = Output(native_dpi=(self.native_dpi, self.native_dpi))
        return Scanner("unit", **{**given, **self.more})  # type: ignore[arg-type]

    def truth(self, dpi: float) -> dict[str, float]:
        """What each measure that a use rests on should say."""
        return {
            "sharpness.effective_dpi": self._effective_dpi(dpi),
            "streaks.strongest_visible": abs(self.line_percent),
            "shading.nonuniformity": self._unevenness(),
            "noise.total": self._noise(),
            "colour.registration": self.shift_px,
            "gutter.delta_L_at_5mm": self._gutter(5.0),
            "edges.dead_margin": 0.0,
        }

    def _effective_dpi(self, dpi: float) -> float:
        """Twice the frequency at 10 % of response (ISO 12233), at most what is sampled.

        Gaussian exp(−2 π² σ² f²) times the aperture sinc(f p) of a native pixel of pitch p; along
        travel the colours are out of step by s pixels, and luma is their weighted sum.
        """
        sampled = self.native_dpi or dpi
        pitch = 25.4 / sampled

        def response(f: float, sigma: float, shift: float) -> float:
            red, green, blue = LUMA
            turn = 2 * math.pi * f * shift * pitch
            in_step = math.hypot(
                green + (red + blue) * math.cos(turn), (red - blue) * math.sin(turn)
            )
            aperture = math.sin(math.pi * f * pitch) / (math.pi * f * pitch)
            return math.exp(-2 * (math.pi * sigma * f) ** 2) * aperture * in_step

        worst = sampled
        for sigma_um, shift in zip(self.optics, (0.0, self.shift_px), strict=True):
            steps = (n / 2000 / pitch for n in range(1, 2000))
            first = next((f for f in steps if response(f, sigma_um / 1000, shift) < 0.1), 1 / pitch)
            worst = min(worst, 2 * first * 25.4)
        return worst

    def _unevenness(self) -> float:
        """Lightest less darkest over the mean of 1 − loss (1 − d / far)², in %."""
        near = (1 - GLASS[0] / FAR_MM) ** 2
        mean = 1 - self.loss * (1 - (1 - GLASS[0] / FAR_MM) ** 3) * FAR_MM / (3 * GLASS[0])
        return 100 * self.loss * (1 - near) / mean

    def _noise(self) -> float:
        """Grain of luma times the slope of L* (CIE 1976), photons and paper left out (0.3 L*)."""
        luma = self.grain * math.hypot(*LUMA)
        return luma * 116 / 3 * (PAPER_LIGHT / self.white) ** (-2 / 3)

    def _gutter(self, at_mm: float) -> float:
        """L* lost at a distance from the spine, against the middle of the flat part of the page.

        Light halves with height; the side's shadow takes more, and so does the light that is lost
        toward that side: the page is darker there, whatever lies on the glass.
        """

        def lit(mm: float) -> float:
            return 1 - self.loss * (1 - mm / FAR_MM) ** 2

        height = LIFT_MM * (1 - at_mm / LIFTED_MM) ** 3
        light = 2 ** (-height / self.half_height_mm)
        light *= lit(at_mm) / lit((LIFTED_MM + self.glass[0]) / 2)
        if self.shadow:
            light *= 1 - self.shadow.strength * max(1 - at_mm / self.shadow.extent_mm, 0) ** 2
        return 116 * (BOOK_LIGHT / self.white) ** (1 / 3) * (1 - light ** (1 / 3))


SHADE = Shadow(6.0, 0.4)
UNITS = (
    Unit("sound", "lens and CCD"),
    Unit(
        "sound", "contact sensor", (33.0, 36.0), half_height_mm=14.0,
        more={"lamp": Lamp(half_height_mm=14.0, vignetting=0.1), "seed": 7},
    ),
    Unit("sound", "a little uneven, colours a little out of step", loss=0.04, shift_px=0.3),
    Unit("mildly faulty", "soft along travel", (30.0, 75.0)),
    Unit("mildly faulty", "a dark line of 1.4 %", line_percent=-1.4),
    Unit("mildly faulty", "uneven", loss=0.16),
    Unit("mildly faulty", "colours out of step by 0.9 px", shift_px=0.9),
    Unit("mildly faulty", "300 dpi made of 200", native_dpi=200.0, glass=LARGER),
    Unit("mildly faulty", "grainy", grain=0.065),
    Unit("mildly faulty", "shadow at the book edge", shadow=SHADE),
    Unit("mildly faulty", "little light above the glass", half_height_mm=5.0),
    Unit("gravely faulty", "soft", (175.0, 175.0)),
    Unit("gravely faulty", "a dark line of 40 %", line_percent=-40.0),
    Unit("gravely faulty", "a bright line of 12 %", line_percent=12.0),
    Unit("gravely faulty", "uneven", loss=0.35),
    Unit("gravely faulty", "colours out of step by 1.6 px", shift_px=1.6),
    Unit("gravely faulty", "300 dpi made of 100", native_dpi=100.0, glass=LARGER),
    Unit("gravely faulty", "grainy", grain=0.13),
    Unit("gravely faulty", "no light above the glass", half_height_mm=1.5),
)  # fmt: skip


def limits() -> dict[str, list[dict[str, object]]]:
    """The conditions of each use, as its file has them."""
    text = (resources.files("scanqa.findings") / "uses.toml").read_text("utf-8")
    return {use["name"]: use["condition"] for use in tomllib.loads(text)["use"]}


def word(value: float, condition: Mapping[str, object]) -> str:
    """The word that a true value has by a condition's two limits."""
    fit, limited = (float(str(condition[name])) for name in ("fit", "limited"))
    sign = 1 if condition["operator"] == ">=" else -1
    if sign * (value - fit) >= 0:
        return "fit"
    return "limited" if sign * (value - limited) >= 0 else "unfit"


def worst(words: list[str]) -> str:
    """The worst of some words."""
    return max(words, key=WORDS.index)
