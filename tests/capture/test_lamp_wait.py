"""Short scans until the light rests: a lamp with a known time constant, a clock of our own."""

import json
import math

import numpy as np
import pytest
import tifffile

from scanqa.capture.lamp_wait import AGREE, GAP_S, level_of, short, wait_for_light
from scanqa.capture.one_scan import scan_to
from scanqa.capture.settings import choose
from scanqa.scans.open import open_scan
from tests.capture.fake import paper


class Clock:
    """Time that passes only where somebody waits, or scans."""

    def __init__(self):
        self.now = 100.0

    def __call__(self):
        return self.now

    def sleep(self, seconds):
        assert seconds >= 0
        self.now += seconds


def lamp(clock, *, missing, constant_s, scan_s=1.0):
    begun = clock.now

    def level():
        clock.now += scan_s
        return 80 * (1 - missing * math.exp(-(clock.now - begun) / constant_s))

    return level


def test_a_steady_light_needs_two_looks_some_seconds_apart():
    clock = Clock()
    seen = wait_for_light(lambda: 80.0, clock=clock, sleep=clock.sleep)
    assert seen.rested
    assert [at for at, _ in seen.levels] == [0.0, GAP_S]


@pytest.mark.parametrize(("missing", "constant_s"), [(0.08, 60.0), (0.3, 20.0)])
def test_a_warming_lamp_is_waited_for_until_its_slope_is_small(missing, constant_s):
    """Closed form: level' / level <= AGREE / GAP_S, so missing · e^(-t/τ) · GAP_S / τ <= AGREE."""
    clock = Clock()
    seen = wait_for_light(
        lamp(clock, missing=missing, constant_s=constant_s), clock=clock, sleep=clock.sleep
    )
    expected = constant_s * math.log(missing * GAP_S / constant_s / AGREE)
    assert seen.rested
    assert seen.seconds == pytest.approx(max(expected, 0) + GAP_S, abs=2 * GAP_S)


def test_a_light_that_never_rests_is_given_up_in_time_and_said_to_move():
    clock = Clock()
    level = iter(range(10, 10_000))
    seen = wait_for_light(lambda: next(level), longest_s=30, clock=clock, sleep=clock.sleep)
    assert not seen.rested
    assert seen.moved_percent > 100 * AGREE
    assert 30 < seen.seconds < 30 + 2 * GAP_S


def test_black_before_and_after_rests():
    clock = Clock()
    assert wait_for_light(lambda: 0.0, clock=clock, sleep=clock.sleep).rested


def test_a_short_scan_takes_the_first_centimetre_and_leaves_nothing_behind(sane, tmp_path):
    assert short(choose(sane, dpi=300)).size_mm == (60, 10)
    few = short(choose(sane, dpi=100))
    assert few.size_mm == (60, 26)  # 100 rows: the fewest that are read as a scan
    assert level_of(tmp_path, few, stall_s=30) == pytest.approx(100)  # the test backend is white
    assert [each.name for each in tmp_path.iterdir()] == ["sane"]  # the device's own settings


def test_what_was_seen_is_kept_in_the_file_and_read_back(fake, tmp_path):
    fake.queue(paper(1))
    fake.offers(
        (fake.home / "options").read_text()
        + "    --force-calibration[=(yes|no)] [no]\n    --red-gain 0..63 [31]\n"
    )
    taken = scan_to(
        tmp_path / "blank-1.tif", choose("fake", dpi=100), lamp=((0.0, 79.5), (4.0, 79.6))
    )
    driver = open_scan(taken.path).driver
    assert driver.calibrated == "each-scan"
    assert driver.numbers == (("red-gain", 31.0),)
    assert driver.lamp == ((0.0, 79.5), (4.0, 79.6))


@pytest.mark.parametrize(
    "told",
    [
        {"calibrated": "never"},
        {"numbers": [["gain", float("nan")]]},
        {"lamp": [[0, 1]] * 1000},
        {"kept_min": 1e999},
        [],
        None,
        {"lamp": 3},
    ],
)
def test_a_description_from_strangers_says_nothing_rather_than_nonsense(tmp_path, told):
    path = tmp_path / "x.tif"
    words = json.dumps({"device": "x", "seconds": 1, "driver": told})
    tifffile.imwrite(path, np.full((120, 120), 200, np.uint8), description=words, metadata=None)
    assert open_scan(path).driver is None
