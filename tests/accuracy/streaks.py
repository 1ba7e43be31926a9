"""Detection and false alarms of streaks, and the uncertainty of the column pattern."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from scanqa.findings import judge
from scanqa.measures import glass, streaks
from scanqa.model import Told
from tests.accuracy import Row
from tests.measures.blank_paper import MM, light_of_paper, scanned

DPI = 300
SHAPE = (3508, 1240)  # half an A4 page
SEED = 1000
CLEAN = 200
TRIALS = 40  # scans, each with three lines


def rows() -> Iterable[Row]:
    """Bounds on streaks and marks."""
    yield from _clean()
    yield _detected("1 px, 0.2 %, one scan, half A4 at 300 dpi", 0.002, 1.0, 0.95)
    yield _detected("1 px, 0.5 %, one scan, half A4 at 300 dpi", 0.005, 1.0, 0.99)
    yield _detected("soft band of 1 mm, 0.5 %", 0.005, 1.0 * DPI / MM, 0.95)
    yield _detected("soft band of 3 mm, 0.5 %", 0.005, 3.0 * DPI / MM, 0.95, lines_each=1)
    yield _detected("soft band of 3 mm, 1 %", 0.01, 3.0 * DPI / MM, 0.95, lines_each=1)
    yield _detected("1 px, 1 %, over a third of the length", 0.01, 1.0, 0.95, part=(1200, 2370))
    yield _detected("1 px, 0.5 %, line across", 0.005, 1.0, 0.95, across=True)
    yield _causes()


def _clean() -> Iterable[Row]:
    """Paper texture, 0.3 % column pattern, curl and edge shadows; each pair is two papers."""
    alarms, marks, pulls = 0, 0, []
    previous = None
    for trial in range(CLEAN):
        light, rng = light_of_paper(SEED + trial, SHAPE, dpi=DPI, pattern=0.003)
        scan = scanned(light, rng, dpi=DPI, name=f"{trial}.tif")
        results = streaks.measure([scan], Told())
        alarms += len(results.streaks)
        (pattern,) = results.named("streaks.column_pattern")
        # Chance makes the pattern's own rms differ from 0.3 % by 1/√(2n)
        own = 0.3 / np.sqrt(2 * SHAPE[1])
        pulls.append((pattern.value - 0.3) / np.hypot(pattern.uncertainty, own))
        if previous is not None and trial % 4 == 1:
            marks += len(glass.measure([previous, scan], Told()).marks)
        previous = scan
    yield Row(
        f"streaks in {CLEAN} clean blank scans (texture 1 %, column pattern 0.3 %, curl)",
        "0", str(alarms), alarms == 0, SEED, "arrays",
    )  # fmt: skip
    yield Row(
        f"marks on clean glass, {CLEAN // 4} pairs",
        "0", str(marks), marks == 0, SEED, "arrays",
    )  # fmt: skip
    bias = float(np.mean(pulls))
    yield Row(
        "column pattern of 0.3 % rms: mean error over its uncertainty",
        "within ± 1", f"{bias:+.2f}", abs(bias) < 1, SEED, "arrays",
    )  # fmt: skip


def _detected(
    what: str,
    contrast: float,
    width_px: float,
    share: float,
    *,
    part: tuple[int, int] | None = None,
    across: bool = False,
    lines_each: int = 3,
) -> Row:
    """Lines at random places and of random polarity in each scan, apart from each other."""
    found = lines = false = 0
    errors = []
    seed = SEED + 500
    for trial in range(TRIALS):
        light, rng = light_of_paper(seed + trial, SHAPE, dpi=DPI)
        length = SHAPE[0] if across else SHAPE[1]
        # Apart, and off the edge shadows: the ends of the bed are another row's business.
        places = np.arange(1, lines_each + 1) / (lines_each + 1) * length
        places = places + rng.integers(-60, 60, lines_each)
        signs = rng.choice([-1, 1], lines_each)
        x = np.arange(length)
        profile = np.ones(length)
        for place, sign in zip(places, signs, strict=True):
            off = np.abs(x - np.round(place))
            shape = np.where(off < width_px, np.cos(np.pi * off / (2 * width_px)) ** 2, 0)
            profile *= 1 + sign * contrast * shape
        if across:
            light *= profile[:, None].astype(np.float32)
        else:
            rows_ = slice(*part) if part else slice(None)
            light[rows_] *= profile[None].astype(np.float32)
        got = streaks.measure([scanned(light, rng, dpi=DPI)], Told()).streaks
        lines += lines_each
        for place, sign in zip(np.round(places), signs, strict=True):
            near = [
                s for s in got
                if abs(s.at_px - place) < max(1.0, width_px / 4)
                and s.polarity == ("dark" if sign < 0 else "bright")
                and s.axis == ("across" if across else "travel")
            ]  # fmt: skip
            found += len(near) == 1
            errors += [s.contrast_percent - 100 * contrast for s in near]
        false += max(len(got) - lines_each, 0)
    rate = found / lines
    bias = float(np.mean(errors)) if errors else float("nan")
    return Row(
        f"{what}: found once, within 1 px (or a quarter width), right polarity",
        f"≥ {100 * share:.0f} %, none beside",
        f"{100 * rate:.1f} % of {lines}, {false} beside, contrast {bias:+.3f} %",
        rate >= share and false == 0,
        seed,
        "arrays",
    )


def _causes() -> Row:
    """One line of each kind in two moved scans, named from both."""
    right = total = 0
    seed = SEED + 800
    for trial in range(20):
        pair = []
        for paper in range(2):
            light, rng = light_of_paper(seed + 2 * trial + paper, SHAPE, dpi=DPI)
            gains = np.ones((1, SHAPE[1], 3), np.float32)
            light[:, 299:302] *= np.float32([0.996, 0.99, 0.996])
            light[:, 499:502] *= np.float32([1.004, 1.01, 1.004])
            light[900:2000, 700:702] *= np.float32(0.985)
            light[:, 850 + 37 * paper] *= 0.99
            gains[0, 1000, 1] = 0.97
            pair.append(scanned(light, rng, dpi=DPI, channels=3, gains=gains, name=f"{paper}"))
        got = judge(streaks.measure(pair, Told()), ()).streaks
        for place, cause in (
            (300, "moving-dirt"), (500, "white-strip-dirt"), (701, "glass-line"), (850, "paper"),
            (887, "paper"), (1000, "dead-element"),
        ):  # fmt: skip
            total += 1
            right += any(abs(s.at_px - place) < 1.5 and s.causes[0].cause == cause for s in got)
    return Row(
        "cause named from two moved scans: moving path, white strip, glass, paper, element",
        "≥ 95 %", f"{100 * right / total:.1f} % of {total}", right / total >= 0.95, seed, "arrays",
    )  # fmt: skip
