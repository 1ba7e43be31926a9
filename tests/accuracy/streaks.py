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
PATTERNS = (0.02, 0.05, 0.1, 0.2, 0.3)  # % rms from column to column
FAINT, MIDDLE = 0.2, 0.5  # %
# What must be found, in scatters of a column: a threshold of some 7 holds false alarms to one in
# 5000 scans, and 1.6 more are found 19 times in 20; the pattern's own scatter takes the rest.
SURE = 10.0
GRAIN = 0.035  # %: texture of 1 %, σ 1.2 px, in means of 3508 rows: 1 % √(2 √π 1.2 / 3508)
OVER_PATTERN, OF_KIND = 16, 16  # scans


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
    for pattern in PATTERNS:
        yield _over_pattern(pattern)
    yield _of_kind("in green only, 1 px, 1 %, colour scan", _green, 1)
    yield _of_kind("dashed, 1 px, 1 %, 5 mm on and 5 mm off", _dashed, 1)
    yield _of_kind("pairs of 1 px, 1 %, 2 mm apart", _near_pairs, 2)
    yield _of_kind("3 mm from the left side, in its shadow, 1 px, 1 %", _beside_edge, 1)
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


def _near(got, place: float, polarity: str = "") -> int:
    """How many lines along the travel were found within a sample of a place."""
    return sum(
        s.axis == "travel"
        and abs(s.at_px - place) <= 1.5
        and s.polarity in (polarity or s.polarity)
        for s in got
    )


def _over_pattern(pattern: float) -> Row:
    """Lines of three contrasts in each scan over a column pattern (all in %)."""
    seed = SEED + 2000 + round(1000 * pattern)
    sure = SURE * float(np.hypot(pattern, GRAIN))
    contrasts = (FAINT, MIDDLE, sure)
    found = np.zeros(3)
    beside = 0
    for trial in range(OVER_PATTERN):
        light, rng = light_of_paper(seed + trial, SHAPE, dpi=DPI, pattern=pattern / 100)
        places = np.arange(1, 7) * SHAPE[1] // 7 + rng.integers(-40, 40, 6)
        for at, place in enumerate(places):
            light[:, place] *= 1 + rng.choice([-1, 1]) * contrasts[at % 3] / 100
        got = streaks.measure([scanned(light, rng, dpi=DPI)], Told()).streaks
        hits = [int(_near(got, place) == 1) for place in places]
        found += [hits[at] + hits[at + 3] for at in range(3)]
        beside += len(got) - sum(_near(got, place) for place in places)
    total = 2 * OVER_PATTERN
    shares = 100 * found / total
    return Row(
        f"1 px over a column pattern of {pattern:g} %: found at {FAINT:g}, {MIDDLE:g} and "
        f"{sure:.1f} %, one scan",
        "≥ 95 % of the last, none beside",
        ", ".join(f"{share:.0f} %" for share in shares)
        + f" of {2 * OVER_PATTERN}, {beside} beside",
        bool(shares[2] >= 95 and beside == 0),
        seed,
        "arrays",
    )


def _green(light, gains, rng) -> list[int]:
    (place,) = rng.integers(200, SHAPE[1] - 200, 1)
    gains[0, place, 1] = 0.99
    return [place]


def _dashed(light, gains, rng) -> list[int]:
    (place,) = rng.integers(200, SHAPE[1] - 200, 1)
    rows = np.arange(SHAPE[0]) // round(5 * DPI / MM) % 2 == 0
    light[rows, place] *= 0.99
    return [place]


def _near_pairs(light, gains, rng) -> list[int]:
    (place,) = rng.integers(200, SHAPE[1] - 200, 1)
    pair = [place, place + round(2 * DPI / MM)]
    light[:, pair] *= 0.99
    return pair


def _beside_edge(light, gains, rng) -> list[int]:
    place = round((3 + float(rng.uniform(-0.5, 0.5))) * DPI / MM)
    light[:, place] *= 0.99
    return [place]


def _of_kind(what: str, plant, each: int) -> Row:
    """Lines of a kind in two scans, the paper moved between: once each, and the scanner's."""
    found = beside = 0
    seed = SEED + 3000
    for trial in range(OF_KIND):
        rng = np.random.default_rng(seed + trial)
        gains = np.ones((1, SHAPE[1], 3), np.float32)
        planted, pair = np.random.default_rng(seed + trial).bit_generator.state, []
        for paper in range(2):
            light, noise = light_of_paper(seed + 2 * trial + paper, SHAPE, dpi=DPI)
            rng.bit_generator.state = planted  # the scanner is the same in both
            gains[:] = 1
            places = plant(light, gains, rng)
            pair.append(scanned(light, noise, dpi=DPI, channels=3, gains=gains, name=f"{paper}"))
        got = streaks.measure(pair, Told()).streaks
        own = [s for s in got if not s.of_the_paper]
        found += sum(_near(own, place) == 1 for place in places)
        beside += len(got) - sum(_near(got, place) for place in places)
    total = each * OF_KIND
    return Row(
        f"{what}: found once in two moved scans, and put down to the scanner",
        "≥ 95 %, none beside",
        f"{100 * found / total:.0f} % of {total}, {beside} beside",
        bool(found >= 0.95 * total and beside == 0),
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
