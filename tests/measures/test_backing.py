"""Show-through of a made-up chequerboard on the back of a page."""

import math

import numpy as np
import pytest

from scanqa.measures import backing
from scanqa.model import Patch, Piece, Told
from tests.measures.paper import MM, placed

DPI = 100


def back_print(
    show_percent, *, paper=0.8, slope=0.0, turn_deg=0.0, name="lid.tif", noise=0.004, seed=1
):
    """A page with 3 × 6 blocks of 28 mm on its back; light rises by `slope` over the page."""
    boxes = [
        (12 + 31 * i, 12 + 31 * j, 40 + 31 * i, 40 + 31 * j) for j in range(6) for i in range(3)
    ]
    patches = tuple(
        Patch(
            f"back-{n}",
            (left + 5, top + 5, right - 5, bottom - 5),
            float((n // 3 + n % 3) % 2 == 0),
        )
        for n, (left, top, right, bottom) in enumerate(boxes)
    )
    piece = Piece("sheet", ((0, 0), (120, 0), (120, 210), (0, 210)), (), back_patches=patches)
    scale, angle = DPI / MM, math.radians(turn_deg)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    shift = np.array([60.0, 105.0]) - turn @ (60, 105)
    y, x = (np.mgrid[: round(210 * scale), : round(120 * scale)] + 0.5) / scale
    sheet_x, sheet_y = np.tensordot(turn.T, np.array([x - shift[0], y - shift[1]]), axes=1)
    light = paper * (1 + slope * (sheet_x / 120 + sheet_y / 210 - 1))
    for patch, (left, top, right, bottom) in zip(patches, boxes, strict=True):
        inside = (sheet_x > left) & (sheet_x < right) & (sheet_y > top) & (sheet_y < bottom)
        light[inside] *= 1 - patch.cover * show_percent / 100
    to_px = np.column_stack([turn * scale, shift * scale - 0.5])
    return placed(
        light, DPI, role="back-print", noise=noise, seed=seed, name=name, piece=piece, to_px=to_px
    )


@pytest.mark.parametrize("show", [0.0, 0.8, 6.0])
@pytest.mark.parametrize("slope", [0.0, 0.05])
@pytest.mark.parametrize("turn_deg", [0.0, 2.0, 180.0])
def test_show_through_in_uneven_light(show, slope, turn_deg):
    (m,) = backing.measure([back_print(show, slope=slope, turn_deg=turn_deg)], Told()).named(
        "backing.show_through"
    )
    assert m.value == pytest.approx(show, abs=0.15)  # %
    assert m.uncertainty < 0.2


def test_lid_and_card_are_told_apart_by_the_paper():
    lid, card = back_print(6.0, paper=0.80), back_print(0.9, paper=0.72, name="card.tif")
    found = backing.measure([card, lid], Told())
    shows = {m.scan: (m.value, m.reason) for m in found.named("backing.show_through")}
    assert shows["lid.tif"] == (pytest.approx(6.0, abs=0.2), "on the lighter backing")
    assert shows["card.tif"] == (pytest.approx(0.9, abs=0.2), "on the darker backing")
    papers = {m.scan: m.value for m in found.named("backing.paper")}
    for name, light in (("lid.tif", 0.80), ("card.tif", 0.72)):
        assert papers[name] == pytest.approx(116 * light ** (1 / 3) - 16, abs=0.2)  # CIE 15


def test_one_backing_twice_has_no_name():
    found = backing.measure([back_print(3.0), back_print(3.0, name="again.tif")], Told())
    assert {m.reason for m in found.measurements} == {""}


def test_what_cannot_be_measured_says_why():
    plain = placed(np.full((300, 200), 0.8), DPI, role="back-print")
    for scans, word in (([], "no back-print"), ([plain], "not located")):
        found = backing.measure(scans, Told()).measurements
        assert len(found) == 2
        assert all(m.status == "not-measurable" and word in m.reason for m in found)


@pytest.mark.parametrize("name", ["backing.show_through", "backing.paper"])
def test_stated_errors_are_the_scatter(name):
    """Thirty scans of grainy paper; they know a scatter to 13 %."""
    found = [
        backing.measure([back_print(4.0, noise=0.02, seed=seed)], Told()).named(name)[0]
        for seed in range(30)
    ]
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.mean([m.uncertainty for m in found])
    assert 0.7 < stated / scatter < 1.4
