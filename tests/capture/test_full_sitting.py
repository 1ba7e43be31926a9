"""A whole guided arrival, from the list of devices to the report, in two goes.

The real ``scanimage`` and the test backend do the scanning; what lies on the glass is simulated
(`tests.capture.glass`), so that the report's figures can be held against what was planted.
"""

import json

import numpy as np
import pytest

from scanqa.sheets import sheet
from scanqa.simulate import scan
from scanqa.simulate.device_faults import Dust, Shadow, Streak
from scanqa.simulate.scanner import Lamp, Optics, Output, Scanner
from scanqa.simulate.scenes import (
    BLACK_CARD,
    BackPrintScene,
    BlankScene,
    BookScene,
    DarkScene,
    Paper,
    RampScene,
    SheetScene,
    StripsScene,
)
from tests.capture.glass import Glass
from tests.capture.sitting import Sitting, gone

DPI, CLAIMED_DPI, BED_MM = 75, 150, 300
MARGIN = {"left": 2.4, "right": 0.4, "top": 0.4, "bottom": 0.8}
HERON = Scanner(
    name="heron",
    glass_mm=(BED_MM + 2.8, BED_MM + 1.2),  # the driver's bed is what the sensor sees
    dead_margin_mm=MARGIN,
    shadows={"left": Shadow(3.0, strength=0.35)},
    optics=Optics(60.0, 65.0, focus_um_per_mm=15.0),
    lamp=Lamp(half_height_mm=9.0),
    streaks=(Streak(71.3, 300.0, -0.02, cause="dirt on the moving optics"),),
    marks=(Dust((120.0, 180.0), 900.0, -0.3),),
    output=Output(bits=16),
)
PAPER = Paper(seed=5)
SHEET_AT = (45.0, 2.0)


def scenes():
    bed, strips, back = sheet("bed-sheet-a4"), sheet("edge-strip-a4"), sheet("back-print-a4")
    moved = BlankScene(PAPER, moved_mm=(22.0, -17.0), turn_deg=1.0)
    return {
        "blank": BlankScene(PAPER),
        "moved blank": moved,
        "dark": DarkScene(),
        "bed-sheet": SheetScene(bed, SHEET_AT, 0.4, windows_cut=True),
        "turned bed-sheet": SheetScene(bed, SHEET_AT, 180.3, windows_cut=True),
        "strips": StripsScene(
            strips, {piece.name: piece.name.removeprefix("strip-") for piece in strips.pieces}
        ),
        "ramp": RampScene(sheet("gutter-ramp-a4")),
        "book": BookScene("left", lift_mm=2.2, length_mm=15.0),
        "back-print, lid": BackPrintScene(back, SHEET_AT, 0.5),
        "back-print, card": BackPrintScene(back, SHEET_AT, 0.5, backing=BLACK_CARD),
    }


@pytest.fixture
def glass(tmp_path):
    made = Glass(tmp_path / "glass", bed_mm=BED_MM, highest_dpi=CLAIMED_DPI)
    for number, (name, scene) in enumerate(scenes().items()):
        for take in range(3 if name == "moved blank" else 1):
            rng = np.random.default_rng([20261125, number, take])  # no two scans share their noise
            made.add(name, scan(scene, HERON, dpi=DPI, rng=rng).pixels, dpi=DPI)
    page = scan(scenes()["bed-sheet"], HERON, dpi=CLAIMED_DPI, rng=np.random.default_rng(20261125))
    made.add("bed-sheet", (page.pixels >> 8).astype(np.uint8), dpi=CLAIMED_DPI)
    return made


def margins(width_px, height_px):
    """Glass that no pixel shows: the backend leaves a last part of a pixel out."""
    seen = {"right": width_px * 25.4 / DPI, "bottom": height_px * 25.4 / DPI}
    before = {"right": MARGIN["left"], "bottom": MARGIN["top"]}
    whole = dict(zip(seen, HERON.glass_mm, strict=True))
    return MARGIN | {side: whole[side] - before[side] - seen[side] for side in seen}


def measured(document, name, **where):
    (found,) = (
        m["value"]
        for m in document["measures"]
        if m["name"] == name and all(m[key] == value for key, value in where.items())
    )
    return found


def test_a_full_sitting_with_a_stop_half_way_ends_with_a_report_that_finds_what_was_planted(
    glass, tmp_path, monkeypatch
):
    monkeypatch.setenv("PATH", f"{glass.bin}:/usr/bin:/bin")
    monkeypatch.setenv("SANE_CONFIG_DIR", str(glass.config))
    command = ("--scanner", "heron", "--full", "--dpi", DPI, "--book-edge", "left")
    command += ("--pages", "400", "--ramp-height", "12", "--json", "j")

    def sit():
        return Sitting(tmp_path, *command, timeout=300, OMP_NUM_THREADS="1")

    def lay(at, thing, *, step):
        at.until(rf"Step \d+ of 15: {step}\W")
        glass.lay(thing)
        at.answer(" ")  # as a foot switch may type

    first = sit()
    lay(first, "blank", step="blank-1")
    lay(first, "moved blank", step="blank-2")  # two more follow untouched
    first.until("Step 4 of 15: blank-4")
    lay(first, "dark", step="dark")
    lay(first, "bed-sheet", step="bed-sheet")
    first.answer("q")
    assert first.end() == 130, first.text
    kept = {path.name: path.read_bytes() for path in (tmp_path / "scans/heron").glob("*.tif")}
    assert len(kept) == 6

    second = sit()
    second.until("already there: blank-1, blank-2, blank-3, blank-4, dark, bed-sheet\\.")
    lay(second, "bed-sheet", step="claim")
    lay(second, "bed-sheet", step="bed-sheet-180")  # forgotten to turn
    second.until("because the sheet is turned by 0° against its first scan, not 180°")
    glass.lay("turned bed-sheet")
    second.answer("\r")
    second.until("Step 9 of 15: bed-sheet-90")
    second.answer("s")
    second.until("Step 10 of 15: edge-card")
    second.answer("s")
    lay(second, "strips", step="edge-strips")
    lay(second, "ramp", step="gutter-ramp")
    lay(second, "ramp", step="open-book")  # forgotten to take the ramp away
    second.until("because it should show an open book")
    glass.lay("book")
    second.answer("\r")
    lay(second, "back-print, lid", step="back-print-lid")
    lay(second, "back-print, card", step="back-print-card")
    assert second.end() == 0, second.text
    assert gone(tmp_path)
    assert "reports/heron.html" in second.text
    decision, first = second.text.rstrip().splitlines()[-2:]
    assert decision.startswith("heron: Clean it, then scan two blanks again. Dark line at 71.3 mm")
    assert first.startswith("First: Clean the glass")
    assert "400 pages of A4: scan at " in second.text
    for name, data in kept.items():
        assert (tmp_path / "scans/heron" / name).read_bytes() == data, name

    document = json.loads((tmp_path / "j").read_text("utf-8"))
    roles = {facts["file"].removesuffix(".tif"): facts["role"] for facts in document["scans"]}
    assert roles == {
        **{f"blank-{n}": "blank" for n in (1, 2, 3, 4)},
        **dict.fromkeys(["bed-sheet", "bed-sheet-180"], "bed-sheet"),
        **{name: name for name in ("dark", "claim", "gutter-ramp", "open-book")},
        "edge-strips": "edge-strip",
        **dict.fromkeys(["back-print-lid", "back-print-card"], "back-print"),
    }
    assert all(streak["at_mm"] == pytest.approx(71.3, abs=0.1) for streak in document["streaks"])
    assert {streak["polarity"] for streak in document["streaks"]} == {"dark"}
    (mark,) = document["glass_marks"]
    assert mark["at_mm"] == pytest.approx([120.0, 180.0], abs=0.3)
    strips = next(facts for facts in document["scans"] if facts["role"] == "edge-strip")
    for side, margin in margins(strips["width_px"], strips["height_px"]).items():
        found = measured(document, f"edges.dead_margin_{side}")
        assert found == pytest.approx(margin, abs=0.1), side
    for height in (1, 2, 5, 10):
        light = measured(document, f"gutter.light_at_{height}mm_height")
        assert light == pytest.approx(100 * 2 ** (-height / 9.0), abs=1.0)
    book = scenes()["book"]
    assert measured(document, "gutter.lift_at_5mm") == pytest.approx(
        float(book.height_mm(5.0)), abs=0.3
    )
    (hidden,) = (m for m in document["measures"] if m["name"] == "gutter.lift_at_2mm")
    assert hidden["status"] == "at-least"  # the sensor begins to see 2.4 mm from the spine
    assert hidden["value"] == pytest.approx(float(book.height_mm(2.4)), abs=0.3)
    for backing in ("lid", "card"):
        truth = scenes()[f"back-print, {backing}"].show_through_percent()
        show = measured(document, "backing.show_through", scan=f"back-print-{backing}.tif")
        assert show == pytest.approx(truth, abs=0.3)
    session = json.loads((tmp_path / "scans/heron/session.json").read_text("utf-8"))
    seconds = [e["seconds"] for e in session["entries"] if e["step"] != "claim"]
    pace = measured(document, "pace.seconds_per_scan")
    assert pace == pytest.approx(float(np.median(seconds)), abs=0.01)
    page = (tmp_path / "reports/heron.html").read_text("utf-8")
    for title in ("Lines", "Gutter", "Show-through", "Pace", "Sharpness"):
        assert f">{title}</h" in page, title
