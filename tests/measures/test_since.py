"""Lines too faint for one check, by the difference to an earlier one: truth from lines of numpy.

Column means of an A4 page at 300 dpi, as they come from 3508 rows: the scanner's column pattern of
0.06 %, the same in both checks; grain of the paper and noise, fresh in each scan. The grain is that
of a texture of 0.6 %, σ 1.2 px: 0.6 % √(2 √π 1.2 / 3508) = 0.02 %.
"""

import numpy as np
import pytest
from scipy import ndimage

from scanqa.codec import from_json, to_json
from scanqa.errors import NotARecord
from scanqa.measures.streaks.in_scans import streaks_along
from scanqa.measures.streaks.since import kept, lines_since
from scanqa.model import ColumnProfile, Results, Seen
from scanqa.reading.profiles import Profiles
from scanqa.records.store import lines_of
from scanqa.words.of_spots import line_words, lines_words
from tests.measures.blank_paper import MM, placed
from tests.records.builders import facts, qualification, streak

DPI, COLUMNS, BANDS, FIRST = 300, 2480, 6, 12
PATTERN, GRAIN, NOISE, LINE = 6e-4, 2e-4, 1e-4, 2e-3  # of light; grain and noise of a column's mean


def line(at, width, size=-LINE):
    """`width` whole columns of one contrast."""
    x = np.arange(COLUMNS)
    return np.where((x >= at) & (x < at + width), size, 0.0)


def bed(rng, columns, lamp=0.0):
    """The profile of one scan whose scanner has these columns and has lost light smoothly."""
    x = np.arange(COLUMNS) / COLUMNS
    light = 1 - 0.08 * (2 * x - 1) ** 2 - lamp * (0.6 + 0.4 * np.cos(3 * x))
    grain = ndimage.gaussian_filter1d(rng.standard_normal((BANDS, COLUMNS)), 1.2, axis=1)
    paper = GRAIN * grain / grain.std() + NOISE * rng.standard_normal(grain.shape)
    stack = np.log(light) + columns + np.sqrt(BANDS) * paper
    return Profiles(stack[None], np.full(BANDS, 292.0), FIRST, 0, 0.0, MM / DPI, 24.7, 297.0)


def placements(names):
    """Scans of the right size and name; nothing is read from their pixels."""
    shape = (64, COLUMNS + 2 * FIRST, 1)
    return [placed(np.full(shape, 220, np.uint8), dpi=DPI, name=name) for name in names]


NEW = placements(("new-1.tif", "new-2.tif"))


def check(beds, papers=("first", "moved"), **more):
    """The record of an earlier check of these profiles."""
    scans = placements([f"old-{at}.tif" for at in range(len(beds))])
    kept_of = [
        facts(file=one.scan.name, width_px=one.scan.width_px, channels=1, paper=paper,
              light="sRGB assumed")
        for one, paper in zip(scans, papers, strict=False)
    ]  # fmt: skip
    return qualification(kept_of, columns=kept(scans, beds), **more)


def since(beds, earlier):
    """Lines new since an earlier check, those that these scans show by themselves apart."""
    alone = streaks_along(NEW[: len(beds)], beds, "travel")
    return alone, lines_since(NEW[: len(beds)], beds, alone, earlier)


def two_checks(seed, planted=0.0, *, before=0.0, lamp=0.0):
    """Profiles of an earlier check and of this one."""
    rng = np.random.default_rng([31, seed])
    pattern = PATTERN * rng.standard_normal(COLUMNS)
    old = [bed(rng, pattern + before) for _ in range(2)]
    return old, [bed(rng, pattern + planted, lamp) for _ in range(2)]


def test_a_line_of_two_thousandths_is_found_by_the_difference_and_not_alone():
    by_one, found, off = 0, 0, []
    for seed in range(40):
        at, width = 150 + 47 * seed, 1 + seed % 3
        old, new = two_checks(seed, line(at, width), lamp=0.1 * (seed % 2))
        alone, lines = since(new, check(old))
        by_one += len(alone)  # columns of the pattern may lie under a line and add to it
        for one in lines:
            assert abs(one.at_px - FIRST - at - (width - 1) / 2) < 1.5
            assert (one.since, one.polarity) == ("2026-11-25", "dark")
            assert one.signs.compared
            assert one.signs.stays > 10
            found += 1
            if width == 1:  # what the contrast of a wider one is depends on its shape
                error = one.contrast_percent / one.significance
                off.append((one.contrast_percent - 100 * LINE) / error)
    assert by_one <= 2
    assert found + by_one >= 38
    assert abs(np.mean(off)) < 0.8
    assert max(np.abs(off)) < 3
    assert 0.3 < np.std(off) < 1.5


@pytest.mark.parametrize("lamp", [0.0, 0.1])
def test_no_line_in_a_hundred_pairs_of_checks_without_one(lamp):
    for seed in range(100, 150):
        old, new = two_checks(seed, lamp=lamp)
        assert since(new, check(old)) == ([], [])


@pytest.mark.parametrize("by", [2, 0.4])
def test_the_start_of_the_line_may_shift(by):
    """A pattern blurred by optics, so that a part of a sample is a shift and no other pattern."""
    found = 0
    for seed in range(20):
        rng = np.random.default_rng([32, seed])
        pattern = ndimage.gaussian_filter1d(rng.standard_normal(COLUMNS), 0.8, mode="wrap")
        pattern *= PATTERN / pattern.std()
        moved = ndimage.shift(pattern, by, order=5, mode="grid-wrap")
        old = [bed(rng, pattern) for _ in range(2)]
        new = [bed(rng, moved + line(500, 2)) for _ in range(2)]
        found += len(since(new, check(old))[1])
        clean = [bed(rng, moved) for _ in range(2)]
        assert since(clean, check(old)) == ([], [])
    assert found >= 18


def test_of_one_look_it_is_not_known_whether_it_stays():
    for olds, news, papers in ((2, 1, ("first", "moved")), (1, 2, ("first",)),
                               (2, 2, ("first", "still"))):  # fmt: skip
        old, new = two_checks(3, line(420, 2, -0.0028))
        _, (one,) = since(new[:news], check(old[:olds], papers))
        assert (one.signs.compared, one.signs.stays) == (False, 1.0)


def test_a_line_of_the_earlier_paper_is_no_news():
    """It is in one of the earlier scans only, and twice as strong there as in their mean."""
    for seed in range(30):
        rng = np.random.default_rng([33, seed])
        pattern = PATTERN * rng.standard_normal(COLUMNS)
        old = [bed(rng, pattern + line(600, 2, 2 * LINE)), bed(rng, pattern)]
        assert since([bed(rng, pattern) for _ in range(2)], check(old))[1] == []


def test_a_line_of_this_paper_is_no_news():
    for seed in range(30):
        rng = np.random.default_rng([34, seed])
        pattern = PATTERN * rng.standard_normal(COLUMNS)
        old = [bed(rng, pattern) for _ in range(2)]
        new = [bed(rng, pattern + line(600, 2)), bed(rng, pattern)]
        assert since(new, check(old))[1] == []


def test_what_either_check_knows_is_no_news():
    """A strong line of both; one that the earlier check knew, cleaned since."""
    strong = line(300, 2, -0.03)
    old, new = two_checks(5, strong, before=strong)
    alone, lines = since(new, check(old))
    assert len(alone) == 1
    assert lines == []
    cleaned = line(300, 2, -0.006)
    old, new = two_checks(6, before=cleaned)
    known = streak((FIRST + 301) * MM / DPI, 0.6)
    assert since(new, check(old, streaks=(known,))) == ([], [])


def test_another_unit_or_another_setting_adds_no_line():
    for seed in range(20):
        old, _ = two_checks(seed)
        _, new = two_checks(seed + 50)
        assert since(new, check(old)) == ([], [])
    old, new = two_checks(1, line(420, 2, -0.0028))
    earlier = check(old)
    assert len(since(new, earlier)[1]) == 1
    for other in ({"width_px": 999}, {"channels": 3}, {"dpi": (150.0, 150.0)}, {"light": "gamma"}):
        scans = [facts(**{"width_px": COLUMNS + 2 * FIRST, "channels": 1, **other, "file": s.file})
                 for s in earlier.scans]  # fmt: skip
        assert since(new, qualification(scans, columns=earlier.columns))[1] == []


def test_the_document_keeps_what_is_compared_and_the_words_say_since_when():
    old, new = two_checks(3, line(420, 2, -0.0028))
    earlier = check(old, conditions={"date": "2026-02-03"})
    again = from_json(to_json(earlier))
    assert again.columns == earlier.columns
    _, (one,) = since(new, again)
    assert one.since == "2026-02-03"
    _, evidence = line_words(one)
    assert f"± {one.contrast_percent / one.significance:.2f} % darker" in evidence
    assert "than at the check of 2026-02-03" in evidence
    title = lines_words([Seen("line-along", "note", streak=0)], Results(streaks=(one,)))
    assert "new since the check of 2026-02-03" in title
    assert lines_of([one]) == []  # no check alone would show it: a history would call it gone


def test_a_profile_is_small_and_a_damaged_one_is_refused():
    """An A3 bed at 600 dpi is 7016 columns wide; two of them are to stay under some 30 kB."""
    old, new = two_checks(1)
    earlier = check(old)
    a_column = sum(len(c.light) for c in earlier.columns) * 4 / 3 / COLUMNS
    assert 7016 * a_column < 32_000
    (first, _) = earlier.columns
    broken = ColumnProfile(first.scan, first.first, first.light[:-20])
    with pytest.raises(NotARecord, match="damaged"):
        since(new, qualification(earlier.scans, columns=(broken,)))
