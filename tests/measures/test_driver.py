"""The light without calibration, the white strip, gains: pictures of known levels."""

import numpy as np
import pytest

from scanqa.locate import locate
from scanqa.measures.driver import measure
from scanqa.model import Driver, Told
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview

DPI = 100


def placed(pixels, role, **facts):
    scan = ArrayScan(np.ascontiguousarray(pixels), name=f"{role}.tif", dpi=(DPI, DPI), **facts)
    return locate(scan, overview(scan), linear(scan, curve="linear"), role=role)[0]


def by_name(results):
    return {(m.name, m.channel): m for m in results.measurements}


def noisy(levels, seed=0, noise=1.0):
    rng = np.random.default_rng(seed)
    return np.clip(np.rint(levels + rng.normal(0, noise, levels.shape)), 0, 255).astype(np.uint8)


@pytest.mark.parametrize("light", [1.0, 0.69])
def test_the_level_without_calibration_follows_the_lamp_by_channel(light):
    """A lamp that lost 31 % gives 31 % less, whatever its channels; ends 20 % darker are told."""
    along = 1 - 0.2 * np.abs(np.linspace(-1, 1, 400)) ** 6
    levels = light * np.array([150.0, 200.0, 120.0]) * along[None, :, None] * np.ones((500, 1, 1))
    found = by_name(measure([placed(noisy(levels), "uncalibrated")], Told()))
    for channel, level in (("red", 150.0), ("green", 200.0), ("blue", 120.0)):
        m = found["driver.level_uncalibrated", channel]
        wanted = 100 * light * level * along.mean() / 255
        assert m.value == pytest.approx(wanted, abs=0.1)
        assert m.shared[0].kind == "paper"
        assert m.uncertainty == pytest.approx(0.03 * wanted, rel=0.1)
    # Cells of 2 mm, the outermost left out: there the darkest is the mean of the second.
    cell = round(2 * DPI / 25.4)
    second = along[cell : 2 * cell].mean()
    assert found["driver.darkest_uncalibrated", None].value == pytest.approx(100 * second, abs=0.7)


def strip(mark=0.0, *, at=123, seed=1, rows=slice(30, 40)):
    """Ten millimetres of white strip above black card; a quarter of a column of it `mark` off."""
    levels = np.full((400, 600), 12.0)
    levels[20:60] = 220.0
    levels[rows, at] *= 1 + mark
    return noisy(levels, seed)[..., None].repeat(3, axis=2)


@pytest.mark.parametrize("mark", [-0.03, 0.02])
def test_dirt_on_the_white_strip_is_seen_at_its_place_and_size(mark):
    (m,) = measure([placed(strip(mark), "white-strip")], Told()).measurements
    assert m.status == "ok"
    assert m.value == pytest.approx(100 * abs(mark), abs=3 * m.uncertainty)
    assert m.at_mm == pytest.approx((123.5 * 25.4 / DPI, 35 * 25.4 / DPI), abs=0.5)


@pytest.mark.parametrize("dirty", [1, 2, 3])
def test_a_calibration_made_on_the_dirt_does_not_hide_it(dirty):
    """The driver makes the mean of its rows white: closed form, gain 1 / (1 − share × dirt)."""
    dirt, gain = 0.06, 1 / (1 - 0.06 * dirty / 4)
    levels = np.full((400, 600), 12.0)
    levels[20:60] = 220.0
    levels[20 : 20 + 10 * dirty, 123] *= 1 - dirt
    levels[:, 123] *= gain
    picture = noisy(levels)[..., None].repeat(3, axis=2)
    (m,) = measure([placed(picture, "white-strip")], Told()).measurements
    assert m.status == "ok"
    assert m.value == pytest.approx(100 * dirt * gain, abs=4 * m.uncertainty)
    assert m.at_mm[0] == pytest.approx(123.5 * 25.4 / DPI, abs=0.3)


def test_what_is_the_same_along_all_of_the_strip_is_not_on_it():
    """A weak element, or dirt in the light path, takes its share of every row."""
    whole = strip(-0.05, rows=slice(0, 400))
    (m,) = measure([placed(whole, "white-strip")], Told()).measurements
    assert m.status == "at-most"


def test_a_clean_strip_is_at_most_what_would_have_shown():
    """Closed form: 7.5 times one code of 220 over the 10 rows of a quarter is 1.1 %."""
    over = 0
    for seed in range(40):
        (m,) = measure([placed(strip(seed=seed), "white-strip")], Told()).measurements
        assert m.status == "at-most"
        over += m.value > 1.25
    assert over == 0


def test_without_a_strip_there_is_a_reason():
    black = noisy(np.full((400, 600, 3), 12.0))
    white = noisy(np.full((400, 600, 3), 220.0))
    for pixels in (black, white):
        (m,) = measure([placed(pixels, "white-strip")], Told()).measurements
        assert (m.status, m.reason_kind) == ("not-measurable", "no-detail")


def test_gains_and_offsets_come_by_channel_and_nothing_is_said_without_them():
    white = noisy(np.full((300, 300, 3), 220.0))
    told = Driver("each-scan", numbers=(("blue-offset", -2.0), ("gain-r", 31.0), ("gain", 7.0)))
    found = by_name(measure([placed(white, "blank", driver=told)], Told()))
    assert found["driver.offset", "blue"].value == -2
    assert found["driver.gain", "red"].value == 31
    assert found["driver.gain", None].value == 7
    assert measure([placed(white, "blank")], Told()).measurements == ()
