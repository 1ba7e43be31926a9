"""The demo writes two full sets of scans with the planted faults beside them."""

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile

from scanqa.demo import DPI, HERON, SCANNERS, SEED, scenes, write_demo


@pytest.fixture(scope="module")
def written(tmp_path_factory) -> tuple[Path, dict, list]:
    folder = tmp_path_factory.mktemp("demo")
    steps: list[tuple[int, int, str]] = []
    return folder, write_demo(folder, progress=lambda *step: steps.append(step)), steps


def test_each_scanner_has_a_full_set(written):
    folder, files, steps = written
    assert list(files) == ["heron", "wren"]
    for name, paths in files.items():
        assert [path.name for path in paths] == [
            "blank-1.tif",
            "blank-2.tif",
            "dark.tif",
            "bed-sheet.tif",
            "edge-strips.tif",
            "open-book.tif",
            "gutter-ramp.tif",
            "back-print-lid.tif",
            "back-print-card.tif",
            "edge-card.tif",
        ]
        assert all(path.parent == folder / name and path.is_file() for path in paths)
    assert steps[0][:2] == (0, 20)
    assert steps[-1][:2] == (20, 20)


def test_scans_are_colour_at_300_dpi(written):
    _, files, _ = written
    for name, paths in files.items():
        width, height = SCANNERS[name].size_px((DPI, DPI))
        for path in paths:
            with tifffile.TiffFile(path) as tiff:
                page = tiff.pages[0]
                assert page.shape == (height, width, 3)
                assert page.dtype == np.uint8
                assert page.get_resolution("INCH") == (300.0, 300.0)


def test_truth_lies_beside_the_scans(written):
    folder, _, _ = written
    truth = json.loads((folder / "heron" / "truth.json").read_text(encoding="utf-8"))
    assert truth["seed"] == SEED
    assert list(truth["scans"]) == list(scenes())
    assert truth["scanner"]["dead_margin_mm"]["left"] == 2.4
    assert len(truth["scanner"]["streaks"]) == 2
    assert truth["scans"]["open-book"]["gutter_delta_L"]["0 mm"] > 5
    # 2 ** (-height / 9 mm), the lamp's half height
    assert abs(truth["scans"]["gutter-ramp"]["light_at_height_percent"]["10 mm"] - 46.3) < 0.1
    lid, card = (truth["scans"][f"back-print-{what}"] for what in ("lid", "card"))
    assert lid["show_through_percent"] > 5 > abs(card["show_through_percent"])


def test_the_dark_streak_is_in_both_blank_scans_at_its_place(written):
    _, files, _ = written
    streak = HERON.streaks[0]
    at = round(streak.at_mm * DPI / 25.4 - 0.5)
    for path in files["heron"][:2]:
        codes = tifffile.imread(path)[:, :, 1].mean(axis=0)
        near = np.concatenate([codes[at - 12 : at - 3], codes[at + 4 : at + 13]])
        assert near.mean() - codes[at - 1 : at + 2].min() > 5 * near.std()


def test_wren_loses_more_light_in_the_gutter_than_heron(written):
    folder, _, _ = written
    reach = {
        name: json.loads((folder / name / "truth.json").read_text(encoding="utf-8"))["scans"][
            "open-book"
        ]["gutter_reach_mm"]
        for name in SCANNERS
    }
    assert reach["wren"]["5 L*"] > reach["heron"]["5 L*"]
