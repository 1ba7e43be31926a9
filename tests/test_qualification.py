"""The pipeline: scans keep their names, notes and options; a correction is said."""

from pathlib import Path

import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from scanqa.cli import main
from scanqa.codec import to_json
from scanqa.model import Told
from scanqa.placing import unlike_names
from scanqa.qualification import options_said, qualify
from scanqa.records import store
from scanqa.records.database import open_store
from scanqa.report.pages import render
from tests.report.reading import page_text
from tests.test_cli import SEED, blank_pixels, save


@pytest.fixture
def folders(tmp_path):
    """Two folders with two blanks of the same names."""
    for day in ("monday", "tuesday"):
        (tmp_path / day).mkdir()
        for number in (1, 2):
            seed = SEED + 10 * len(day) + number
            save(tmp_path / day / f"blank-{number}.tif", blank_pixels(seed))
    return tmp_path / "monday", tmp_path / "tuesday"


# ------------------------------------------------------------------------------------ names


def test_scans_of_equal_name_in_two_folders_are_all_measured(folders):
    record = qualify(folders, scanner="heron").record
    names = [f"{day}/blank-{n}.tif" for day in ("monday", "tuesday") for n in (1, 2)]
    assert [facts.file for facts in record.scans] == names
    totals = [m.scan for m in record.named("noise.total")]
    assert len(set(totals)) == len(totals)
    patterns = {m.scan for m in record.measures if m.name == "streaks.column_pattern"}
    assert patterns == set(names)


def test_names_are_as_short_as_telling_apart_allows():
    paths = [Path("/a/b/x.tif"), Path("/a/c/x.tif"), Path("/a/c/y.tif")]
    assert unlike_names(paths) == ["b/x.tif", "c/x.tif", "y.tif"]
    deep = [Path("/m/a/s/x.tif"), Path("/n/a/s/x.tif")]
    assert unlike_names(deep) == ["m/a/s/x.tif", "n/a/s/x.tif"]


part = st.sampled_from(["a", "b", "c"])


@given(st.lists(st.lists(part, min_size=1, max_size=4).map("/".join), unique=True, max_size=8))
def test_no_two_files_ever_share_a_name(paths):
    names = unlike_names([Path("/", path) for path in paths])
    assert len(set(names)) == len(paths)
    assert all(str(Path("/", path)).endswith(name) for path, name in zip(paths, names, strict=True))


# ------------------------------------------------------------------------------------ notes


def test_notes_of_the_header_reach_the_document_and_the_page(tmp_path):
    pixels = blank_pixels(SEED).astype(np.uint8)
    path = tmp_path / "blank-1.tif"
    tifffile.imwrite(
        path, pixels, photometric="rgb", resolution=(150, 150), resolutionunit=2,
        extratags=[(274, 3, 1, 6, True)],
    )  # fmt: skip
    found = qualify([path], scanner="heron")
    (facts,) = found.record.scans
    assert any("turned by 90°" in note for note in facts.notes)
    assert "turned by 90°, as its tag asks" in to_json(found.record)
    assert "turned by 90°, as its tag asks" in page_text(render(found))


# ---------------------------------------------------------------------------------- options


def test_what_is_told_is_said_by_option_and_nothing_else():
    assert options_said(Told()) == {}
    told = Told(
        book_edge="left", bars_mm=(180.2, 179.6), print_label="A", curve="1.8",
        roles={Path("/x/odd.tif"): "claim"}, dead_margins_mm={"left": 2.3},
    )  # fmt: skip
    assert options_said(told) == {
        "book-edge": "left", "curve": "1.8", "bars": "180.2 179.6", "dead-margin": "left 2.3",
        "print": "A", "role": "claim=odd.tif",
    }  # fmt: skip


def test_files_count_by_what_they_hold(tmp_path):
    uses = tmp_path / "uses.toml"
    uses.write_text("a")
    first = options_said(Told(uses=uses))
    uses.write_text("b")
    assert options_said(Told(uses=uses)) != first
    dull, sharp = (
        options_said(Told(edge_response=lambda f, w=w: np.exp(-f / w))) for w in (3.0, 9.0)
    )
    assert dull != sharp


def test_the_same_scans_with_other_options_replace_the_record_and_say_so(folders, tmp_path):
    records = f"sqlite:///{tmp_path / 'records.sqlite'}"
    common = ["qualify", str(folders[0]), "--scanner", "heron", "--out", str(tmp_path / "out")]
    common += ["--records", records]

    def run(*more):
        done = CliRunner().invoke(main, [*common, *more], catch_exceptions=False)
        assert done.exit_code == 0, done.output
        return done

    assert "replaced" not in run().stderr
    corrected = run("--curve", "1.8").stderr
    assert "record 1 is replaced" in corrected
    assert "--curve nothing before, 1.8 now" in corrected
    assert "replaced" not in run("--curve", "1.8").stderr
    with open_store(records) as engine:
        (entry,) = store.entries(engine)
        kept = store.read(engine, entry.id)
    assert kept.options == {"curve": "1.8"}
    assert kept.scans[0].light != "sRGB assumed"
