"""Crops are cut where the worst value was measured, from the right scan."""

import numpy as np
import pytest

from scanqa.model import Diagnosis, Measurement, Results, Seen
from scanqa.proof import EDGE_PX, SIDE_PX, proof
from tests.measures.paper import placed

DPI = 300
BED = (120.0, 160.0)  # mm


def scan_with_dots(dots_mm, name, role="bed-sheet"):
    """White paper with a black dot of 0.5 mm at each place."""
    rows, cols = (round(side / 25.4 * DPI) for side in BED[::-1])
    light = np.full((rows, cols), 0.8)
    for x, y in dots_mm:
        row, col = (round(v / 25.4 * DPI) for v in (y, x))
        light[row - 3 : row + 3, col - 3 : col + 3] = 0.02
    return placed(light, DPI, role=role, name=name)


def finding(*rests_on, severity="warning", sign="soft", **fields):
    """A diagnosis of one sign."""
    return diagnosed(Seen(sign, severity, rests_on=rests_on, **fields))


def diagnosed(*signs):
    rests_on = tuple(dict.fromkeys(name for seen in signs for name in seen.rests_on))
    severity = signs[0].severity
    return Diagnosis(cause="focus", severity=severity, signs=signs, rests_on=rests_on)


def sfr50(value, at, direction="across", name="bed.tif"):
    return Measurement(
        "sharpness.sfr50", value, 0.01, scan=name, at_mm=at, direction=direction, channel="luma"
    )


SITES = ((20.0, 30.0), (60.0, 80.0), (100.0, 140.0))


def test_worst_and_best_are_cut_where_they_lie():
    values = Results(tuple(sfr50(v, at) for v, at in zip((4.0, 4.4, 2.1), SITES, strict=True)))
    scans = (scan_with_dots((), "other.tif"), scan_with_dots(SITES, "bed.tif"))
    worst, best = proof((finding("sharpness.sfr50"),), values, scans).evidence
    for crop, (x, y), word in ((worst, SITES[2], "Worst"), (best, SITES[1], "Best")):
        left, top, right, bottom = crop.extent_mm
        assert crop.title.startswith(word)
        assert crop.scan == "bed.tif"
        assert crop.image.shape == (EDGE_PX, EDGE_PX, 3)
        middle = ((left + right) / 2, (top + bottom) / 2)
        assert middle == pytest.approx((x, y), abs=25.4 / DPI)  # a pixel
        dark = np.argwhere(crop.image[..., 0] < 60).mean(axis=0)
        assert dark == pytest.approx((EDGE_PX / 2, EDGE_PX / 2), abs=2)  # the dot is in the middle


def test_the_direction_that_a_finding_names_is_the_one_shown():
    values = Results((sfr50(4.0, SITES[0]), sfr50(3.0, SITES[1]), sfr50(1.0, SITES[2], "travel")))
    scans = (scan_with_dots((), "bed.tif"),)
    named = finding("sharpness.sfr50", sign="soft-place", direction="across")
    worst, _ = proof((named,), values, scans).evidence
    assert "across: 3.00 cy/mm" in worst.title


def test_of_two_directions_the_worse_one_is_shown():
    values = Results((sfr50(4.0, SITES[0]), sfr50(3.0, SITES[1]), sfr50(1.0, SITES[2], "travel")))
    scans = (scan_with_dots((), "bed.tif"),)
    both = diagnosed(
        *(
            Seen("soft-place", "warning", rests_on=("sharpness.sfr50",), direction=direction)
            for direction in ("across", "travel")
        )
    )
    worst = proof((both,), values, scans).evidence[0]
    assert "along travel: 1.00 cy/mm" in worst.title


def test_the_colour_that_a_sign_names_is_the_one_shown():
    values = Results(
        tuple(
            Measurement(
                "colour.registration", shift, 0.01, scan="bed.tif", at_mm=at, channel=colour
            )
            for shift, at, colour in ((0.4, SITES[0], "blue"), (0.9, SITES[1], "red"))
        )
    )
    blue = finding("colour.registration", sign="fringes", channel="blue")
    (crop,) = proof((blue,), values, (scan_with_dots((), "bed.tif"),)).evidence
    assert "0.40 px" in crop.title


def test_the_scan_that_a_sign_names_is_the_one_shown():
    values = Results((sfr50(3.0, SITES[0]), sfr50(1.0, SITES[2], name="other.tif")))
    scans = (scan_with_dots((), "bed.tif"), scan_with_dots((), "other.tif"))
    (crop,) = proof((finding("sharpness.sfr50", scan="bed.tif"),), values, scans).evidence
    assert crop.scan == "bed.tif"


def test_a_coarse_scan_is_not_shown_as_a_soft_one():
    coarse = placed(np.full((400, 300), 0.8), 100, role="bed-sheet", name="coarse.tif")
    values = Results((sfr50(1.9, SITES[0], name="coarse.tif"), sfr50(3.0, SITES[1])))
    scans = (coarse, scan_with_dots((), "bed.tif"))
    (crop,) = proof((finding("sharpness.sfr50"),), values, scans).evidence
    assert crop.scan == "bed.tif"


def test_a_shadow_is_cut_at_the_middle_of_its_side():
    values = Results((Measurement("edges.shadow_right", 3.0, 0.1),))
    scans = (scan_with_dots((), "blank.tif", role="blank"),)
    shadow = finding("edges.shadow_right", sign="shadow", terms={"side": "right"})
    (crop,) = proof((shadow,), values, scans).evidence
    left, top, right, bottom = crop.extent_mm
    assert right == pytest.approx(BED[0], abs=0.1)
    assert (top + bottom) / 2 == pytest.approx(BED[1] / 2, abs=0.2)
    assert right - left == pytest.approx(SIDE_PX / DPI * 25.4)


def test_the_gutter_is_shown_only_where_the_spine_is_known():
    values = Results((Measurement("gutter.delta_L_at_5mm", 9.0, 0.2, scan="book.tif"),))
    scans = (scan_with_dots((), "book.tif", role="open-book"),)
    one = finding("gutter.delta_L_at_5mm")
    assert proof((one,), values, scans).evidence == ()
    (crop,) = proof((one,), values, scans, book_edge="left").evidence
    assert crop.extent_mm[0] == pytest.approx(0.0, abs=1e-9)


def test_two_measures_of_one_place_share_a_crop_and_notes_get_none():
    shift = Measurement("colour.registration", -0.5, 0.01, scan="bed.tif", at_mm=SITES[0])
    soft = Measurement("sharpness.sfr10", 3.0, 0.01, scan="bed.tif", at_mm=SITES[0])
    scans = (scan_with_dots((), "bed.tif"),)
    both = finding("colour.registration", "sharpness.sfr10")
    assert len(proof((both,), Results((shift, soft)), scans).evidence) == 1
    note = finding("colour.registration", severity="note")
    assert proof((note,), Results((shift,)), scans).evidence == ()


def test_what_has_no_place_has_no_crop():
    values = Results((Measurement("noise.total", 5.0, 0.1, scan="bed.tif"),))
    assert proof((finding("noise.total"),), values, (scan_with_dots((), "bed.tif"),)) == Results()
