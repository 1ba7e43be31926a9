"""Colour, the highest depth, the whole flatbed, and nothing that improves the picture."""

import os
import time
from pathlib import Path

import numpy as np
import pytest

from scanqa.capture import driver_options
from scanqa.capture.device import arguments, read_options
from scanqa.capture.driver_options import kept_min, known, numbers, table
from scanqa.capture.settings import CLAIM_MM, choose
from scanqa.errors import BadOption
from scanqa.sheets import sheet

RICH = """
    --source ADF Front|Flatbed|Transparency [ADF Front]
    --mode Lineart|Halftone|Gray|24bit Color[Fast]|24 bits color|48 bits color|Color Lineart [Gray]
    --depth 8|12|16bit [8]
    --resolution 75|150|300|600|1200dpi [75]
    --brightness -100..100% (in steps of 1) [30]
    --contrast 1..10 [5]
    --sharpness 0..7 [3]
    --custom-gamma[=(yes|no)] [yes]
    --gamma 0.3..5 [2.2]
    --auto-crop[=(yes|no)] [yes]
    --swdespeck 0..9 [2]
    --compression None|JPEG [JPEG]
    --jpeg-quality 0..100 [75]
    --dust-removal Low|High [Low]
    --lamp-off-time 0..60 [15]
    --preview[=(yes|no)] [no]
    --negative[=(yes|no)] [inactive]
    -l 0..216mm [0]
    -t 0..297mm [0]
    -x 0..216mm [100]
    -y 0..297mm [100]
"""


def test_the_test_backend_gets_colour_16_bits_and_its_whole_bed(sane):
    settings = choose(sane, dpi=300)
    values = dict(settings.values)
    assert (values["source"], values["mode"], values["depth"]) == ("Flatbed", "Color", "16")
    assert (settings.dpi, settings.bits, settings.channels) == (300, 16, 3)
    assert settings.size_mm == (60, 60)
    assert settings.all_options["read-return-value"] == "Default"


def test_what_improves_the_picture_is_switched_off_and_what_cannot_be_is_noted(fake):
    fake.offers(RICH)
    settings = choose("fake", dpi=600)
    values = dict(settings.values)
    assert values["source"] == "Flatbed"
    assert values["mode"] == "48 bits color"
    assert values["depth"] == "16"
    assert (values["brightness"], values["sharpness"]) == ("0", "0")
    assert (values["custom-gamma"], values["auto-crop"], values["compression"]) == (
        "no",
        "no",
        "None",
    )
    assert {"gamma", "lamp-off-time", "negative", "contrast"}.isdisjoint(values)
    noted = " ".join(settings.notes)
    assert "dust-removal" in noted
    assert values["swdespeck"] == "0"  # read in libsane 1.2.1: 0 is off


def test_what_the_user_sets_goes_first(fake):
    fake.offers(RICH)
    settings = choose("fake", dpi=300, extra={"brightness": "12", "mode": "Gray"})
    assert dict(settings.values)["brightness"] == "12"
    assert settings.channels == 1


def test_none_takes_the_highest_dpi_and_the_middle_stays_small(sane):
    settings = choose(sane, dpi=None, middle=True)
    assert settings.dpi == 1200
    fits = choose(sane, dpi=300, middle=True)
    assert fits.size_mm == (60, 60)  # smaller than the middle that is wanted


def test_the_middle_of_a_large_bed_is_its_middle(fake):
    fake.offers(RICH)
    settings = choose("fake", dpi=None, middle=True)
    values = {name: float(value) for name, value in settings.values if name in "ltxy"}
    assert settings.size_mm == (110, 110)
    assert values["l"] + values["x"] / 2 == pytest.approx(108, abs=1)
    assert values["t"] + values["y"] / 2 == pytest.approx(148.5, abs=1)


@pytest.mark.parametrize("paper", ["a4", "letter", "a3"])
@pytest.mark.parametrize("askew_deg", [0.0, 3.0])
def test_the_middle_holds_four_tags_wherever_it_begins_on_the_sheet(paper, askew_deg):
    """Every place of the square on the sheet, in steps of 2 mm; the sheet lies a little askew."""
    page = sheet(f"bed-sheet-{paper}")
    turn = np.deg2rad(askew_deg)
    turn = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    corners = np.array([tag.corners_mm for tag in page.pieces[0].tags]) @ turn.T
    low, high = corners.min(axis=1), corners.max(axis=1)
    border = 20.0  # of plain paper outside the tags, and the paper's corners are cut by the turn
    for left in np.arange(border, page.width_mm - CLAIM_MM - border, 2.0):
        for top in np.arange(border, page.height_mm - CLAIM_MM - border, 2.0):
            start = np.array([left, top])
            inside = np.all((low >= start) & (high <= start + CLAIM_MM), axis=1)
            assert np.count_nonzero(inside) >= 4, start


@pytest.mark.parametrize(
    ("depths", "middle", "bits"),
    [("8|16", False, 16), ("8|16", True, 8), ("1|16", True, 16), ("1|8|12", False, 16)],
)
def test_the_depth_is_the_highest_and_8_bits_for_the_middle(fake, depths, middle, bits):
    fake.offers(RICH.replace("--depth 8|12|16bit", f"--depth {depths}bit"))
    assert f"--depth {depths}bit" in (fake.home / "options").read_text()
    assert choose("fake", dpi=300, middle=middle).bits == bits


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"dpi": 5000}, "offers no 5000 dpi; it offers 1 to 1200"),
        ({"extra": {"output-file": "/tmp/x"}}, "no such option"),
        ({"extra": {"batch": "yes"}}, "no such option"),
        ({"extra": {"-o": "x"}}, "no such option"),
        ({"extra": {"test-picture": "$(reboot)"}}, "offers Solid black"),
        ({"extra": {"ppl-loss": "1;2"}}, "offers 0 to 128"),
        ({"extra": {"resolution": "600"}}, "--dpi"),
        ({"extra": {"mode": "Purple"}}, "offers Gray, Color"),
    ],
)
def test_what_the_device_does_not_offer_is_refused_before_it_scans(sane, options, words):
    with pytest.raises(BadOption, match=words.replace("$(", r"\$\(")):
        choose(sane, **{"dpi": 100, **options})


def test_a_device_without_colour_is_scanned_in_grey_and_says_so(fake):
    fake.offers("    --mode Lineart|True Gray [Lineart]\n    --resolution 300dpi [300]\n")
    settings = choose("fake", dpi=300)
    assert settings.channels == 1
    assert settings.bits is None
    assert "the scanner offers no colour mode" in settings.notes


def test_a_device_with_line_art_only_is_refused(fake):
    fake.offers("    --mode Lineart [Lineart]\n    --resolution 300dpi [300]\n")
    with pytest.raises(BadOption, match="neither colour nor grey"):
        choose("fake", dpi=300)


CALIBRATING = (
    RICH
    + """
    --expiration-time -1..30000 (in steps of 1) [60]
    --force-calibration[=(yes|no)] [no] [advanced]
    --clear-calibration
    --calibration-file <string> [/var/tmp/none.cal]
    --disable-calibration[=(yes|no)] [no]
    --lamp-off-scan[=(yes|no)] [no]
    --ignore-internal-offsets[=(yes|no)] [no]
    --noise-reduction 0..3 [2]
    --highlight 0..100% [100]
    --saturation 0..100 [50]
    --red-gain 0..63 [31]
    --green-gain 0..63 [28]
    --blue-offset -128..127 [-2]
"""
)


def test_a_driver_calibrates_anew_before_a_check_where_it_offers_that(fake):
    fake.offers(CALIBRATING)
    settings = choose("fake", dpi=300)
    values = dict(settings.values)
    assert (values["expiration-time"], values["force-calibration"]) == ("0", "yes")
    assert "clear-calibration" not in values  # a setting does it
    assert settings.calibrated == "each-scan"
    assert (values["disable-calibration"], values["lamp-off-scan"]) == ("no", "no")
    assert values["noise-reduction"] == "0"
    assert {"highlight", "saturation", "red-gain"}.isdisjoint(values)


def test_a_button_is_pressed_only_where_no_setting_calibrates(fake):
    fake.offers(RICH + "    --clear-calibration\n")
    settings = choose("fake", dpi=300)
    assert ("clear-calibration", "") in settings.values
    assert "--clear-calibration" in arguments("fake", settings.values)
    assert settings.calibrated == "each-scan"


def test_the_real_test_backend_takes_its_button_without_a_value(sane):
    values = (("enable-test-options", "yes"), ("button", ""))
    offered = read_options(sane, values)  # with "=", scanimage refuses it
    assert offered["button"].is_button
    assert not offered["bool-soft-select-soft-detect"].is_button


def test_what_is_kept_and_may_not_be_told_to_calibrate_is_said_to_be_kept(fake):
    fake.offers(RICH + "    --expiration-time 1..30000 [60]\n")
    assert choose("fake", dpi=300).calibrated == "kept"
    fake.offers(RICH)
    assert choose("fake", dpi=300).calibrated == "not-told"


@pytest.mark.parametrize(
    ("look", "option", "calibrated"),
    [
        ("dark-frame", "lamp-off-scan", "each-scan"),
        ("white-strip", "ignore-internal-offsets", "each-scan"),
        ("uncalibrated", "disable-calibration", "off"),
    ],
)
def test_a_look_is_asked_for_by_its_own_option_alone(fake, look, option, calibrated):
    fake.offers(CALIBRATING)
    usual, looking = choose("fake", dpi=300), choose("fake", dpi=300, look=look)
    assert dict(usual.values)[option] == "no"
    assert dict(looking.values)[option] == "yes"
    assert looking.calibrated == calibrated
    if look == "uncalibrated":
        assert "force-calibration" not in dict(looking.values)


def test_a_look_that_a_driver_does_not_give_is_refused_in_a_line(fake):
    fake.offers(RICH)
    with pytest.raises(BadOption, match="no option for it \\(known are lamp-off-scan"):
        choose("fake", dpi=300, look="dark-frame")


def test_gains_offsets_and_the_age_of_a_kept_calibration_are_read(tmp_path):
    file = tmp_path / "kept.cal"
    file.write_text("x")
    os.utime(file, (0, time.time() - 7200))
    values = {"red-gain": "31", "blue-offset": "-2", "gain": "auto", "calibration-file": str(file)}
    assert numbers(values) == (("blue-offset", -2.0), ("red-gain", 31.0))
    assert kept_min(values) == pytest.approx(120, abs=1)
    assert kept_min({"calibration-file": str(tmp_path / "none")}) is None
    assert kept_min({"calibration-file": "\0"}) is None


def test_the_table_for_readers_is_the_table():
    page = Path(driver_options.__file__).with_name("driver_options.md")
    assert page.read_text("utf-8") == driver_options.as_markdown()


def test_every_row_of_the_table_says_where_it_was_read_and_fits_what_it_names():
    for row in table():
        assert row.read
        assert row.why
        assert (row.does == "calibrate") or not row.value
    # Names read in Debian 12's libsane 1.2.1 by `strings`, each with its treatment.
    wanted = {
        "expiration-time": "calibrate", "force-calibration": "calibrate",
        "clear-calibration": "calibrate", "calibration-cache": "calibrate",
        "calibration-file": "as found", "quality-cal": "as found",
        "disable-calibration": "plain", "opt_nowshading": "plain", "opt_nowarmup": "plain",
        "lamp-off-scan": "plain", "lamp-off-time": "as found",
        "ignore-internal-offsets": "plain", "full-scan": "plain", "cct-type": "off",
        "auto-area-segmentation": "off", "gamma-correction": "off", "noise-reduction": "off",
        "image-emphasis": "off", "swdespeck": "off", "red-gain": "number",
    }  # fmt: skip
    assert {name: known(name).does for name in wanted} == wanted
