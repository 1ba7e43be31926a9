"""A folder that other software fills: the newest new file, when it is whole."""

import os
import shutil

import pytest
from PIL import Image

from scanqa.capture.desk import GO
from scanqa.capture.faults import ScanFailed
from scanqa.capture.settings import choose
from scanqa.capture.sources import DeviceSource, FolderSource
from scanqa.capture.steps import BLANKS
from scanqa.errors import BadOption
from tests.capture.fake import paper
from tests.capture.test_guide import Desk

STEP = BLANKS[0]


def wait(source, desk, *, at_once=False):
    return source.wait(STEP, desk, at_once=at_once)


class Busy(Desk):
    """A desk at which something happens while it waits: `events` are run, one at each look."""

    def __init__(self, *events):
        super().__init__()
        self.events = list(events)

    def key(self, prompt, *, timeout_s=None):
        assert timeout_s is not None
        self.lines.append(prompt)
        assert self.events, "waited for ever"
        return self.events.pop(0)()


def nothing():
    return None


def saved(path, seed=1):
    def save():
        Image.fromarray(paper(seed)).save(path, dpi=(100, 100))

    return save


def test_a_new_file_is_taken_when_it_has_stopped_growing(tmp_path):
    saved(tmp_path / "whole.tif")()
    data = (tmp_path / "whole.tif").read_bytes()
    source = FolderSource(tmp_path)
    path = tmp_path / "scan0001.tif"

    def begins():
        path.write_bytes(data[:1000])

    def grows():
        path.write_bytes(data)

    desk = Busy(nothing, begins, grows, nothing)
    assert wait(source, desk) == GO
    assert desk.events == []
    taken = source.take(STEP, desk)
    assert taken.path == path
    assert taken.seconds is None
    assert sorted(p.name for p in tmp_path.iterdir()) == ["scan0001.tif", "whole.tif"]
    assert path.read_bytes() == data


def test_of_several_new_files_the_newest_is_taken_and_other_files_are_not(tmp_path):
    source = FolderSource(tmp_path)

    def come():
        for age, name in enumerate(["new.tif", "older.png"]):
            saved(tmp_path / name)()
            os.utime(tmp_path / name, (1e9 - age, 1e9 - age))
        (tmp_path / "notes.txt").write_text("not a scan")
        (tmp_path / "folder.tif").mkdir()

    assert wait(source, Busy(come, nothing)) == GO
    assert source.take(STEP, Desk()).path.name == "new.tif"


def test_a_file_that_was_there_is_offered_once_and_not_taken_unasked(tmp_path):
    saved(tmp_path / "before.tif")()
    source = FolderSource(tmp_path)
    desk = Busy(nothing, lambda: GO, lambda: "u")
    assert wait(source, desk) == GO
    assert "[u] use before.tif" in desk.text
    assert "No new scan is there yet" in desk.text
    assert source.take(STEP, desk).path.name == "before.tif"
    again = Busy(lambda: "s")
    assert wait(source, again) == "s"
    assert "[u]" not in again.text


def test_files_of_an_earlier_run_are_not_offered(tmp_path):
    saved(tmp_path / "before.tif")()
    source = FolderSource(tmp_path)
    source.mark_used(("before.tif",))
    desk = Busy(lambda: "u", lambda: "q")
    assert wait(source, desk) == "u"
    assert "[u]" not in desk.text


def test_a_file_that_cannot_be_used_is_a_sentence(tmp_path):
    source = FolderSource(tmp_path)
    assert wait(source, Busy(lambda: (tmp_path / "a.tif").write_text("no") and None, nothing)) == GO
    with pytest.raises(ScanFailed, match=r"a\.tif: .*text"):
        source.take(STEP, Desk())


def test_a_folder_that_goes_away_is_a_sentence(tmp_path):
    folder = tmp_path / "mounted"
    folder.mkdir()
    source = FolderSource(folder)
    with pytest.raises(BadOption, match=r"mounted.*cannot be read"):
        wait(source, Busy(lambda: shutil.rmtree(folder), nothing))


def test_a_device_names_its_files_after_the_step_and_learns_how_long_a_scan_takes(sane, tmp_path):
    (tmp_path / "out").mkdir()
    source = DeviceSource(tmp_path / "out", lambda step: choose(sane, dpi=60))
    guess = source.seconds(STEP)
    taken = source.take(STEP, Desk())
    assert taken.path.name == "blank-1.tif"
    assert source.seconds(STEP) == taken.seconds != guess


def test_what_needs_no_laying_is_scanned_at_once_by_a_device_and_awaited_in_a_folder(tmp_path):
    """A folder has no new scan by itself: neither untouched nor when it is to be scanned again."""
    device = DeviceSource(tmp_path, lambda step: choose("none", dpi=60))
    assert wait(device, Busy(), at_once=True) == GO
    folder = FolderSource(tmp_path)
    assert wait(folder, Busy(saved(tmp_path / "a.tif"), nothing), at_once=True) == GO
    assert folder.take(STEP, Desk()).path.name == "a.tif"
    with pytest.raises(ScanFailed, match="no new file"):
        folder.take(STEP, Desk())
    assert wait(folder, Busy(saved(tmp_path / "b.tif", 2), nothing), at_once=True) == GO
    assert folder.take(STEP, Desk()).path.name == "b.tif"
