"""What a page is measured by, against what was put into it; the truth shares no code with it."""

from __future__ import annotations

import json
import math
from dataclasses import fields, replace

import cv2
import numpy as np
import pytest
from PIL import Image

from scanqa.scans.jpeg_steps import mean_step
from scanqa.scans.linear import srgb
from scanqa.scans.one_pass import read_once
from scanqa.scans.open import open_scan
from scanqa.scans.save import save_jpeg, save_png, save_tiff
from scanqa.watch.align import clean, lie_anywhere, lie_of
from scanqa.watch.events import events_of
from scanqa.watch.features import as_plain, from_plain
from scanqa.watch.judge import Job, advance
from scanqa.watch.measure_page import measure_page

DPI, WIDTH, HEIGHT = 150, 900, 1200
LINE, CONTRAST = 400, -0.01


def codes_of(light):
    """Light to codes by the formula of IEC 61966-2-1, from memory; rounded once."""
    high = 1.055 * np.maximum(light, 1e-6) ** (1 / 2.4) - 0.055
    return np.rint(255 * np.where(light <= 0.0031308, 12.92 * light, high)).astype(np.uint8)


def page(seed, *, line=0.0, pattern=None, noise=0.006, rule=None, light=0.8, pitch=60):
    """A page of black bars for words, drawn without the simulator: light, (rows, columns)."""
    rng = np.random.default_rng(seed)
    made = np.full((HEIGHT, WIDTH), light)
    for y in range(120, HEIGHT - 120, 40):
        for x in range(100, WIDTH - 160, pitch):
            if rng.random() < 0.7:
                at = x + int(rng.integers(-6, 6))
                made[y : y + 14, at : at + int(rng.integers(10, pitch - 10))] = 0.05
    if rule is not None:
        made[110 : HEIGHT - 110, rule : rule + 2] = 0.3
    made = cv2.GaussianBlur(made, (0, 0), 0.7)
    made[:, LINE] *= 1 + line
    if pattern is not None:
        made *= 1 + pattern
    return made * (1 + noise * rng.standard_normal(made.shape))


def measured(tmp_path, light, name="page.tif", **options):
    path = tmp_path / name
    save_tiff(path, codes_of(light), DPI, **options)
    return measure_page(path)


def test_srgb_of_this_page_is_that_of_the_package():
    codes = codes_of(np.linspace(0, 1, 101))
    assert np.abs(srgb(codes / 255.0) - np.linspace(0, 1, 101)).max() < 0.006  # one code


def test_a_line_has_its_contrast_and_its_error_over_many_pages(tmp_path):
    found = [measured(tmp_path, page(seed, line=CONTRAST)) for seed in range(8)]
    off = np.array([f.columns.off[LINE] for f in found])
    error = np.array([f.columns.error[LINE] for f in found])
    assert off.mean() == pytest.approx(100 * CONTRAST, abs=0.06)
    assert 0.4 < off.std(ddof=1) / error.mean() < 2.2
    ends = np.array([f.columns.ends[LINE] for f in found])
    assert ends.mean() == pytest.approx(100 * CONTRAST, abs=0.2)


def test_a_strong_line_is_not_taken_for_print(tmp_path):
    found = measured(tmp_path, page(3, line=-0.15))
    assert found.columns.off[LINE] == pytest.approx(100 * math.log(0.85), rel=0.05)


def test_a_rule_that_ends_in_the_margins_does_not_show_there(tmp_path):
    found = measured(tmp_path, page(4, rule=600))
    assert not found.columns.ends[600] < -2  # NaN (not judged) or nought, but no rule
    assert np.isnan(found.columns.off[590:610]).any() or found.columns.off[600] < -20


def test_columns_under_a_rule_over_the_whole_page_are_no_line_on_one_page(tmp_path):
    light = page(5)
    light[:, 300:330] = 0.1  # a dark stripe: nothing beside it is judged
    found = measured(tmp_path, light)
    assert np.isnan(found.columns.off[290:340]).all()
    assert np.isfinite(found.columns.off[380:700]).all()


def test_the_column_pattern_tells_a_page_that_was_turned_and_where_a_cropped_one_lay(tmp_path):
    pattern = 0.001 * np.random.default_rng(7).standard_normal(WIDTH)
    first, second = (measured(tmp_path, page(seed, pattern=pattern)) for seed in (1, 2))
    turned = measured(tmp_path, page(3, pattern=pattern)[::-1, ::-1])
    cropped = measured(tmp_path, page(4, pattern=pattern)[:, 37:837])
    known = clean(first.columns.off)
    assert lie_of(clean(second.columns.off), known).turned is False
    assert lie_of(clean(turned.columns.off), known).turned is True
    lie = lie_anywhere(clean(cropped.columns.off), known)
    assert (lie.turned, lie.shift) == (False, 37)
    other = measured(tmp_path, page(5, pattern=pattern[::-1] * -1 + np.roll(pattern, 5)))
    assert lie_anywhere(clean(other.columns.off)[:700], known) is None


def test_light_and_clipping(tmp_path):
    grey = measured(tmp_path, page(1, light=0.8))
    darker = measured(tmp_path, page(1, light=0.76))
    assert darker.light - grey.light == pytest.approx(math.log(0.95), abs=0.002)
    assert grey.clipped == 0
    clipped = measured(tmp_path, page(1, light=1.1))
    white = (codes_of(page(1, light=1.1)) >= 255).mean()
    assert clipped.clipped == pytest.approx(white, abs=1e-6)


def test_tint_is_that_of_the_paper(tmp_path):
    light = page(1)[..., None] * np.array([0.95, 1.0, 0.8])
    found = measured(tmp_path, light)
    assert found.tint == pytest.approx((math.log(0.95), math.log(0.8)), abs=0.004)


def test_grain_follows_the_noise(tmp_path):
    small, large = (measured(tmp_path, page(1, noise=noise)).grain for noise in (0.006, 0.0066))
    assert large / small == pytest.approx(1.1, abs=0.03)


def test_skew_is_that_of_the_lines(tmp_path):
    light = page(2)
    turn = cv2.getRotationMatrix2D((WIDTH / 2, HEIGHT / 2), -0.7, 1.0)
    turned = cv2.warpAffine(light, turn, (WIDTH, HEIGHT), borderValue=0.8)
    assert measured(tmp_path, turned).skew_deg == pytest.approx(0.7, abs=0.1)
    assert measured(tmp_path, light).skew_deg == pytest.approx(0.0, abs=0.1)


@pytest.mark.parametrize("quality", [98, 90, 75])
def test_jpeg_inside_a_lossless_file_shows(tmp_path, quality):
    codes = codes_of(page(1))
    through = cv2.imdecode(
        cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, quality])[1], cv2.IMREAD_GRAYSCALE
    )
    save_tiff(tmp_path / "a.tif", codes, DPI)
    save_tiff(tmp_path / "b.tif", through, DPI)
    assert measure_page(tmp_path / "a.tif").blocks < 1.02
    assert measure_page(tmp_path / "b.tif").blocks > 1.04


def test_a_scaled_and_a_deskewed_page_show(tmp_path):
    codes = codes_of(page(1))
    larger = cv2.resize(codes, None, fx=1.5, fy=1.5, interpolation=cv2.INTER_CUBIC)
    turn = cv2.getRotationMatrix2D((WIDTH / 2, HEIGHT / 2), 0.5, 1.0)
    askew = cv2.warpAffine(codes, turn, (WIDTH, HEIGHT), borderValue=230)
    found = []
    for pixels in (codes, larger, askew):
        save_tiff(tmp_path / "a.tif", pixels, DPI)
        found.append(measure_page(tmp_path / "a.tif").resampled)
    assert found[0] < 8
    assert min(found[1:]) > 12


def test_edges_of_the_softer_side_are_less_steep(tmp_path):
    light = page(6, pitch=25)
    light[:, WIDTH // 2 :] = cv2.GaussianBlur(light, (0, 0), 0.8)[:, WIDTH // 2 :]
    left, right = measured(tmp_path, light).edges
    assert math.log(left / right) > 0.05
    same = measured(tmp_path, page(6, pitch=25)).edges
    assert abs(math.log(same[0] / same[1])) < 0.03


def test_steps_of_a_jpeg_file_are_those_that_another_reader_finds(tmp_path):
    save_jpeg(tmp_path / "a.jpg", codes_of(page(1)), DPI, quality=80)
    with Image.open(tmp_path / "a.jpg") as image:  # Pillow: a reader of its own
        table = image.quantization[0]
    assert mean_step(tmp_path / "a.jpg") == pytest.approx(np.exp(np.log(table).mean()), rel=1e-9)


@pytest.mark.parametrize("save", [save_tiff, save_png])
@pytest.mark.parametrize("depth", [np.uint8, np.uint16])
def test_one_pass_gives_the_means_and_the_shares_of_all_pixels(tmp_path, save, depth):
    rng = np.random.default_rng(2)
    top = np.iinfo(depth).max
    pixels = rng.integers(0, top, (700, 650, 3), endpoint=True, dtype=depth)
    pixels[100:200, 100:300] = top
    path = tmp_path / "a.img"
    save(path, pixels, 300)
    once = read_once(open_scan(path))
    assert once.step_px == 2
    blocks = pixels.reshape(350, 2, 325, 2, 3).mean(axis=(1, 3))
    assert np.abs(once.reduced - blocks).max() <= 0.5 + 1e-6
    at_top = pixels >= (255 << 8 if depth == np.uint16 else 255)
    assert once.top_share == pytest.approx(at_top.mean(), abs=1e-12)
    assert once.bottom_share == pytest.approx((pixels == 0).mean(), abs=1e-12)


def test_a_page_comes_back_from_the_journal_as_it_went_in(tmp_path):
    found = measured(tmp_path, page(1))
    again = from_plain(json.loads(json.dumps(as_plain(found), allow_nan=False)))
    for each in fields(found):
        if each.name == "columns":
            for part in fields(found.columns):
                one, other = (getattr(f.columns, part.name) for f in (found, again))
                assert np.array_equal(one, other, equal_nan=True)
        elif each.name == "across":
            assert np.array_equal(found.across, again.across, equal_nan=True)
        else:
            assert getattr(found, each.name) == getattr(again, each.name), each.name
    assert as_plain(replace(again)) == as_plain(found)


def test_the_doubt_of_a_line_holds_the_truth_where_no_file_says_its_curve(tmp_path):
    """Codes are light to the power 1/2.0, which nobody states: a line of 1 % is told by sRGB.

    sRGB's slope in the light tones is some 2.3, so that 1 % is told as some 1.15.
    """
    told = {}
    rng = np.random.default_rng(8)
    pattern = 0.004 * rng.standard_normal(WIDTH)
    for curve in (None, "2.0"):
        job = Job()
        for n in range(30):
            light = page(
                900 + n,
                line=CONTRAST if n >= 24 else 0.0,
                pattern=pattern,
                light=0.7 + 0.01 * (n % 3),
            )
            path = tmp_path / f"{n:02d}.tif"
            save_tiff(path, np.rint(255 * np.sqrt(np.clip(light, 0, 1))).astype(np.uint8), DPI)
            job = advance(job, measure_page(path, curve=curve))
        (told[curve],) = (each for each in events_of(job) if each.kind.startswith("line"))
    assumed, stated = told[None], told["2.0"]
    assert stated.contrast_percent == pytest.approx(
        100 * CONTRAST, abs=2 * stated.uncertainty + 0.05
    )
    assert stated.uncertainty < 0.05
    assert assumed.contrast_percent / stated.contrast_percent == pytest.approx(2.3 / 2, rel=0.05)
    assert assumed.uncertainty > 4 * stated.uncertainty
    assert assumed.contrast_percent == pytest.approx(100 * CONTRAST, abs=2 * assumed.uncertainty)
