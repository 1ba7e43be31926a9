"""Show-through of the committed two-page sheet, its back seen through the paper."""

import pytest

from scanqa.errors import ScanqaError
from scanqa.measures import backing
from scanqa.model import Told
from tests import independent as ind
from tests.measures.folded import INK, PAPER, TARGETS, back_print, scanned

FINE_DPI, DPI = 200, 100


@pytest.mark.parametrize(
    ("show_percent", "turn_deg"), [(7.5, 0.0), (1.0, 90.0), (0.0, 180.0), (4.0, 271.2)]
)
def test_show_through_however_it_lies(show_percent, turn_deg):
    light = back_print(show_percent / 100, fine_dpi=FINE_DPI)
    pieces = scanned(light, fine_dpi=FINE_DPI, dpi=DPI, turn_deg=turn_deg, name="lid.tif")
    assert {piece.role for piece in pieces} == {"back-print"}
    (m,) = backing.measure(pieces, Told()).named("backing.show_through")
    assert m.value == pytest.approx(show_percent, abs=0.15)  # %
    assert m.uncertainty < 0.2


def test_lid_and_black_card():
    """Paper as light as each backing makes it; the card hides what the lid shows."""
    lid = scanned(
        back_print(0.075, paper=0.82, fine_dpi=FINE_DPI), fine_dpi=FINE_DPI, dpi=DPI, name="lid.tif"
    )
    card = scanned(
        back_print(0.006, paper=0.76, fine_dpi=FINE_DPI), fine_dpi=FINE_DPI, dpi=DPI, name="c.tif"
    )
    found = {
        m.scan: m for m in backing.measure([*card, *lid], Told()).named("backing.show_through")
    }
    assert found["lid.tif"].value == pytest.approx(7.5, abs=0.15)
    assert found["c.tif"].value == pytest.approx(0.6, abs=0.15)
    assert "lighter" in found["lid.tif"].reason
    assert "darker" in found["c.tif"].reason


def test_a_sheet_laid_with_its_back_down_is_refused():
    """Seen from its back there are blocks; the tags shine through faintly and in a mirror."""
    wrong = back_print(0.0, fine_dpi=FINE_DPI)
    blocks = ind.raster(TARGETS / "back-print-a4.pdf", FINE_DPI, page=1)
    seen = (INK + (PAPER - INK) * blocks) * (0.93 + 0.07 * wrong[:, ::-1] / wrong.max())
    with pytest.raises(ScanqaError):
        scanned(seen, fine_dpi=FINE_DPI, dpi=DPI, role="back-print")
