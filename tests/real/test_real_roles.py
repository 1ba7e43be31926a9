"""What is known of real scans: see README.md beside them.

The gutters' truth is a plain estimate made here with numpy and Pillow: per column the 85th
percentile of L* over the rows, against that far from the spine. It shares no code with the
measure.
"""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

from scanqa.model import Told
from scanqa.qualification import qualify

HERE = Path(__file__).parent
MM = 25.4


def record(name, **told):
    return qualify([HERE / name], scanner="bench", told=Told(**told)).record


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("film-strips-crop.tif", "picture"),
        ("notesA1.jpg", "page"),
        ("p1_53.jpg", "picture"),
        ("2_ISTRIA02_FEB_6_obj01752_raw.png", "picture"),
        ("contrast-orig-60.jpg", "open-book"),
        ("w91frag.jpg", "open-book"),
        ("binding-example.45.jpg", "open-book"),
    ],
)
def test_the_role_of_a_real_scan(name, role):
    from scanqa.locate import locate
    from scanqa.scans.linear import linear
    from scanqa.scans.open import open_scan
    from scanqa.scans.overview import overview

    scan = open_scan(HERE / name)
    (placement,) = locate(scan, overview(scan), linear(scan))
    assert placement.role == role
    assert (placement.dpi_source == "assumed") == (scan.dpi is None)


@pytest.mark.parametrize(
    "name", ["film-strips-crop.tif", "2_ISTRIA02_FEB_6_obj01752_raw.png", "w91frag.jpg"]
)
def test_a_real_scan_gets_a_record_and_no_word_that_it_does_not_bear(name):
    found = record(name)
    assert not found.rejected
    assert found.named("tone.clipped")
    assert all(use.fitness == "not judged" for use in found.outcome.uses)
    assert not [d for d in found.diagnoses if d.severity == "fault"]
    if found.scans[0].dpi is None:
        families = {m.name.partition(".")[0] for m in found.measures}
        assert families <= {"tone", "processing", "claim"}


def test_white_beside_real_strips_is_no_blank_that_ends_where_they_begin(tmp_path):
    tifffile.imwrite(
        tmp_path / "left.tif",
        tifffile.imread(HERE / "film-strips-crop.tif")[:, :450],
        photometric="rgb", resolution=(75, 75), resolutionunit="inch",
    )  # fmt: skip
    (scan,) = qualify([tmp_path / "left.tif"], scanner="bench").record.scans
    assert scan.role == "picture"


def test_a_real_plateau_of_several_codes_is_clipping():
    """SOURCES.md of the data: the top of the scale are the codes 65532 to 65535 of this scanner.

    Truth is a plain count of pixels of which a sample is one of them.
    """
    name = "film-strips-crop.tif"
    plain = (tifffile.imread(HERE / name) >= 65532).any(axis=2).mean()
    (m,) = record(name).named("tone.clipped")
    assert m.value == pytest.approx(100 * plain, rel=0.06)  # 1.26 %


def lightness(name):
    """L* of codes taken as sRGB (IEC 61966-2-1, CIE 15)."""
    codes = np.asarray(Image.open(HERE / name).convert("L"), float) / 255
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return np.where(light > 216 / 24389, 116 * np.cbrt(light) - 16, light * 24389 / 27)


def column_estimate(name, dpi, distance_mm):
    """ΔL* at a distance from the right side of the image: percentiles of columns, no more."""
    columns = np.percentile(lightness(name), 85, axis=0)[::-1]
    at_mm = (np.arange(len(columns)) + 0.5) * MM / dpi
    end = min(70.0, 0.5 * at_mm[-1])
    page = np.median(columns[(at_mm >= end / 2) & (at_mm < end)])
    near = np.abs(at_mm - distance_mm) < 1.0
    return page - np.median(columns[near])


def test_a_real_gutter_is_that_of_the_columns():
    found = record("w91frag.jpg", dpi=150, book_edge="right")
    for distance in (10, 20):
        (m,) = found.named(f"gutter.delta_L_at_{distance}mm")
        assert m.value == pytest.approx(column_estimate("w91frag.jpg", 150, distance), abs=2.0)


def test_the_other_side_of_a_real_page_has_no_spine():
    found = record("w91frag.jpg", dpi=150, book_edge="left")
    gutter = [m for m in found.measures if m.name.startswith("gutter.delta_L")]
    assert gutter
    assert all(m.reason_kind == "not-found" for m in gutter)


def test_a_spine_inside_a_real_image_measures_both_its_pages():
    found = record("binding-example.45.jpg")
    for name in ("gutter.plateau", "gutter.delta_L_at_2mm"):
        assert len(found.named(name)) == 2
    assert all(m.value > 2 for m in found.named("gutter.delta_L_at_2mm"))
