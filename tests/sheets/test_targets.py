from pathlib import Path

import pytest

from scanqa.sheets import SHEET_IDS, sheet
from scanqa.sheets.pdf import draw
from tests.independent import raster

TARGETS = Path(__file__).parents[2] / "targets"


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_committed_pdf_is_what_the_code_draws(sheet_id):
    """To renew them after a change: ``scanqa sheets`` and ``sh targets/previews.sh``."""
    assert (TARGETS / f"{sheet_id}.pdf").read_bytes() == draw(sheet(sheet_id))


def test_there_are_no_other_pdfs():
    assert sorted(path.stem for path in TARGETS.glob("*.pdf")) == sorted(SHEET_IDS)


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_no_page_takes_much_toner(sheet_id):
    """Share of ink as poppler draws it; the figures stand in targets/README.md."""
    pages = 2 if sheet_id.startswith("back-print") else 1
    for page in range(pages):
        drawn = raster(TARGETS / f"{sheet_id}.pdf", 100, page=page)
        assert 0.01 < 1 - drawn.mean() < 0.14
