"""Papers with flecks, lines, clouds, creases behind a sound scanner: none of it is the scanner's.

Truth: the scanner of the simulator has no line, mark or band; all that repeats moves with the
paper. The whole table (200 sets) is `python -m tests.accuracy ugly_paper`.
"""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.measures import banding, glass, streaks
from scanqa.measures.streaks.whose import without_rulings
from scanqa.model import LineSigns, Told
from scanqa.model import Streak as Line
from scanqa.simulate import scan
from scanqa.simulate.device_faults import Dust, Streak
from scanqa.simulate.laid import Paper
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.scenes import BlankScene
from scanqa.simulate.ugly_paper import Clouds, Flecks, Lines, Stroke, Watermark
from tests.measures.blank_paper import placed

DPI = 150
BED = (108.0, 150.0)
LINE = Line(
    at_mm=20.0, at_px=118.0, width_um=400.0, contrast_percent=1.0, delta_L=0.4, polarity="dark",
    channels=("red", "green", "blue"), extent_mm=(8.6, 24.0), significance=8.0, visible=True,
    scan="blank-1.tif", axis="across", signs=LineSigns(True),
)  # fmt: skip
KINDS = {
    "recycled": (Flecks(),),
    "many flecks": (Flecks(15, (0.1, 0.4), (-0.03, -0.5)),),
    "laid": (Lines(25, 0.8, -0.012), Lines(1.1, 0.4, -0.006, down=False)),
    "laid across": (Lines(25, 0.8, -0.012, down=False, wander_mm=0.3), Lines(1.1, 0.4, -0.006)),
    "cloudy": (Clouds(),),
    "ruled": (Lines(8.0, 0.25, -0.02, down=False),),
    "squared": (Lines(5.0, 0.2, -0.02, down=False), Lines(5.0, 0.2, -0.02)),
    "watermark": (Watermark((50, 70)),),
    "crease": (Stroke((30, -10), (36, 170), 0.5, -0.04, 0.03),),
    "pen": (Stroke((60, 20), (61, 120), 0.4, -0.4),),
}


def pair(kind, seed, scanner=None):
    """Two scans of one sheet, moved by 2 to 6 mm both ways and turned by hand between them."""
    scanner = scanner or Scanner("sound", glass_mm=BED)
    paper = Paper(seed=seed + 1, features=KINDS[kind])
    rng = np.random.default_rng([seed, 11])
    moved = tuple(rng.uniform(2, 6, 2) * rng.choice([-1, 1], 2))
    scenes = (BlankScene(paper), BlankScene(paper, moved, float(rng.uniform(-0.6, 0.6))))
    return [
        placed(
            scan(scene, scanner, dpi=DPI, rng=np.random.default_rng([seed, at])).pixels,
            dpi=DPI,
            name=f"blank-{at + 1}.tif",
        )
        for at, scene in enumerate(scenes)
    ]


def of_the_scanner(scans):
    """Lines, marks and bands that are put down to the scanner."""
    lines = [s for s in streaks.measure(scans, Told()).streaks if not s.of_the_paper]
    marks = glass.measure(scans, Told()).marks
    amplitudes = banding.measure(scans, Told()).named("banding.amplitude")
    bands = [m for m in amplitudes if m.status != "at-most"]  # which says that none was found
    return lines, marks, bands


@pytest.mark.parametrize("kind", KINDS)
def test_nothing_of_the_paper_is_put_down_to_the_scanner(kind):
    assert of_the_scanner(pair(kind, 1)) == ([], (), [])


def test_what_the_scanner_has_is_still_found_on_recycled_paper():
    scanner = Scanner(
        "faulty",
        glass_mm=BED,
        streaks=(Streak(40.0, contrast=-0.02, width_um=200.0),),
        marks=(Dust((70.0, 90.0), 1200.0, -0.5),),
    )
    lines, marks, bands = of_the_scanner(pair("recycled", 3, scanner))
    assert [round(line.at_mm) for line in lines] == [40]
    assert [(round(m.at_mm[0]), round(m.at_mm[1])) for m in marks] == [(70, 90)]
    assert bands == []


def test_a_short_line_is_the_scanners_only_if_the_paper_has_none_like_it():
    """Flecks in a row make short lines; by accident one lay where another lay before."""
    short = LineSigns(True, stays=1e4, full=False, one_sample=False)
    moved = replace(LINE, at_mm=20.0, contrast_percent=3.0, signs=replace(short, stays=1e-4))
    for contrast, of_paper in ((1.7, True), (5.0, True), (7.0, False)):
        line = replace(LINE, at_mm=79.0, contrast_percent=contrast, signs=short)
        _, judged = without_rulings([moved, line], [False, False], "across")
        assert judged.of_the_paper == of_paper, contrast
    whole = replace(LINE, at_mm=79.0, contrast_percent=1.7, signs=replace(short, full=True))
    _, judged = without_rulings([moved, whole], [False, False], "across")
    assert not judged.of_the_paper
