"""Looks that only a driver gives, at a fake device: it comes from the same reading as the code."""

import json

import numpy as np
import pytest

from tests.capture.fake import OPTIONS, paper
from tests.capture.sitting import Sitting

OFFERED = """    --lamp-off-scan[=(yes|no)] [no]
    --full-scan[=(yes|no)] [no]
    --opt_nowshading[=(yes|no)] [no]
    --force-calibration[=(yes|no)] [no]
    --green-gain 0..63 [28]
"""


def dark(seed):
    return np.random.default_rng(seed).integers(2, 6, (236, 197, 3), np.uint8)


DIRTY = 150  # column


def blank(seed, **options):
    """Paper under a calibration that was made on dirt: the column is brighter by 3 %."""
    grey = paper(seed, **options).astype(np.float64)
    grey[:, DIRTY] *= 1.03
    return np.rint(grey).clip(0, 255).astype(np.uint8)


def strip(seed):
    """White strip of 6 mm above black card, a place of it darker by 8 %."""
    levels = np.full((236, 197, 3), 8.0)
    levels[10:34] = 225.0
    levels[18:24, DIRTY] *= 0.92
    return np.rint(levels + np.random.default_rng(seed).normal(0, 0.7, levels.shape)).astype("u1")


def test_looks_are_asked_for_by_name_told_scanned_and_measured(fake, tmp_path):
    fake.offers(OPTIONS + OFFERED)
    moved = blank(2, shift_px=(9, 23))
    fake.queue(blank(1), moved, dark(3), strip(4), (paper(5) * 0.6).astype(np.uint8))
    looks = ("--look", "dark-frame", "--look", "white-strip", "--look", "uncalibrated")
    at = Sitting(
        tmp_path, "--scanner", "heron", "--blanks", "--dpi", "100", *looks, "--json", "heron.json"
    )
    for _ in range(5):
        at.answer("\r")
    at.end()
    assert "The lamp stays off and the carriage goes over the glass once" in at.text
    assert "if it knocks against its end, stop with Ctrl-C" in at.text
    assert at.text.count("Not yet tried on a real scanner") == 3
    scans = [call for call in fake.calls if any(a.startswith("--output-file") for a in call)]
    asked = [
        sorted(a for a in call if a.endswith("=yes") and not a.startswith("--device"))
        for call in scans
    ]
    assert asked == [
        ["--force-calibration=yes"],
        ["--force-calibration=yes"],
        ["--force-calibration=yes", "--lamp-off-scan=yes"],
        ["--force-calibration=yes", "--full-scan=yes"],
        ["--opt_nowshading=yes"],
    ]
    record = json.loads((tmp_path / "heron.json").read_text("utf-8"))
    roles = [scan["role"] for scan in record["scans"]]
    assert roles == ["blank", "blank", "dark", "white-strip", "uncalibrated"]
    calibrated = [scan["driver"]["calibrated"] for scan in record["scans"]]
    assert calibrated == ["each-scan"] * 4 + ["off"]
    values = {m["name"]: m for m in record["measures"] if m["value"] is not None}
    assert values["driver.strip_mark"]["at_mm"][0] == pytest.approx(
        (DIRTY + 0.5) * 25.4 / 100, abs=0.3
    )
    (line,) = [found for found in record["findings"] if found.get("cause") == "white-strip-dirt"]
    assert line["confirmed"]
    assert line["alike"] == []
    assert values["driver.level_uncalibrated"]["value"] == pytest.approx(
        100 * 0.6 * 222 / 255, abs=0.5
    )
    assert values["driver.gain"]["value"] == 28
    assert "calibrated before each scan" in values["drift.level"]["reason"]


def test_the_default_sitting_never_asks_for_them(fake, tmp_path):
    fake.offers(OPTIONS + OFFERED)
    fake.queue(paper(1), paper(2, shift_px=(9, 23)))
    at = Sitting(tmp_path, "--scanner", "heron", "--blanks", "--dpi", "100")
    for _ in range(2):
        at.answer("\r")
    at.end()
    assert "white strip" not in at.text
    given = {a for call in fake.calls for a in call}
    assert not given & {"--lamp-off-scan=yes", "--full-scan=yes", "--opt_nowshading=yes"}


def test_a_look_may_be_skipped_and_one_that_is_not_offered_is_a_line(fake, tmp_path):
    fake.offers(OPTIONS + OFFERED)
    fake.queue(paper(1), paper(2, shift_px=(9, 23)))
    at = Sitting(
        tmp_path, "--scanner", "heron", "--blanks", "--dpi", "100", "--look", "white-strip"
    )
    for key in ("\r", "\r", "s"):
        at.answer(key)
    at.end()
    assert "Left out: white-strip." in at.text
    fake.offers(OPTIONS)
    at = Sitting(tmp_path, "--scanner", "wren", "--blanks", "--dpi", "100", "--look", "dark-frame")
    assert at.end() == 2
    assert "--look dark-frame: this driver has no option for it" in at.text
    assert "Traceback" not in at.text


def test_the_light_is_waited_for_before_the_first_blank_only(sane, tmp_path):
    """The real scanimage and test backend; its picture is white, so the light rests at once."""
    at = Sitting(
        tmp_path,
        "--scanner",
        "heron",
        "--blanks",
        "--dpi",
        "100",
        "--lamp-wait",
        "60",
        "--json",
        "j",
    )
    for key in ("\r", "k", "\r"):  # all of it is clipped, which is asked about once
        at.answer(key)
    at.end()
    assert at.text.count("The light rests: 2 short scans within 4 s") == 1
    scans = json.loads((tmp_path / "j").read_text("utf-8"))["scans"]
    assert [len(scan["driver"]["lamp"]) for scan in scans] == [2, 0]
