"""Colour, the highest depth, the whole flatbed, and nothing that improves the picture."""

import numpy as np
import pytest

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
    assert "swdespeck" in noted


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
