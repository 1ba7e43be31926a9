"""Paper on the picture of the glass: whose border is drawn, and what is said of it."""

from dataclasses import replace

import pytest

from scanqa.report.card.places import glass_of
from tests.records.builders import qualification
from tests.report.synthetic import facts

BED = {"width_px": 2480, "height_px": 3508, "dpi": (300.0, 300.0)}  # 210 × 297 mm


def blank(name, left, top, right, bottom, **changes):
    border = ((left, top), (right, top), (right, bottom), (left, bottom))
    return facts(name, "blank", border_mm=border, **{**BED, **changes})


def shown(*scans):
    return glass_of(qualification(scans))


def test_the_common_paper_of_blanks_and_the_first_sheet_are_drawn_and_said():
    sheet = ((3.0, 1.4), (213.0, 2.7), (211.2, 299.7), (1.2, 298.4))
    picture = shown(
        blank("a", 5.0, 10.0, 190.0, 297.0),
        blank("b", 2.0, 14.0, 200.0, 290.0),
        facts("s", "bed-sheet", sheet="bed-sheet-a4", border_mm=sheet, **BED),
        facts("t", "bed-sheet", sheet="bed-sheet-a4", border_mm=sheet[::-1], **BED),
    )
    common = ((5.0, 14.0), (190.0, 14.0), (190.0, 290.0), (5.0, 290.0))
    assert picture.papers == (common, sheet)
    assert picture.caption.endswith("; thin outline: blank paper and bed sheet")
    assert "The blank paper lay from x 5 to 190, y 14 to 290 mm." in picture.alt
    assert "The bed sheet lay from x 1 to 210, y 1 to 297 mm." in picture.alt


@pytest.mark.parametrize(
    "scan",
    [
        blank("a", -2.0, -3.0, 213.0, 300.0),  # it covers the glass
        blank("a", 5.0, 10.0, 90.0, 110.0, width_px=1240),  # of another size: where is not known
        facts("a", "blank", **BED),  # it is not known
        replace(blank("a", 5.0, 10.0, 90.0, 110.0), role="dark"),
    ],
)
def test_what_covers_the_glass_or_is_not_known_is_neither_drawn_nor_named(scan):
    picture = shown(facts("b", "blank", **BED), scan)
    assert picture.papers == ()
    assert "outline" not in picture.caption
    assert "lay from" not in picture.alt
