"""What a session keeps, and that it cannot be led out of its folder."""

import json
from dataclasses import asdict, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.capture.session import FILE, Entry, Session, changed, load, save
from scanqa.errors import BadOption

ENTRY = Entry(
    step="blank-1",
    file="blank-1.tif",
    sha256="0" * 64,
    started="2026-11-25T10:00:00+00:00",
    seconds=12.5,
    device="test:0",
    mode="Color",
    width_px=2480,
    height_px=3508,
    channels=3,
    bits=16,
    true_bits=12,
    dpi=(300.0, 300.0),
    options={"mode": "Color"},
    said=("scanimage: rounded value of br-x from 216 to 215.9",),
    notes=("a note",),
    facts={"role": "blank", "clipped_percent": 0.1, "sheet": None},
    kept_despite="it is askew",
)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


@settings(deadline=None, max_examples=25)
@given(said=words, option=words, seconds=st.none() | st.floats(0, 1e4), dpi=st.none())
def test_what_was_saved_is_loaded(tmp_path_factory, said, option, seconds, dpi):
    folder = tmp_path_factory.mktemp("session")
    entry = replace(ENTRY, said=(said,), options={option: said}, seconds=seconds, dpi=dpi)
    session = Session("heron", (ENTRY, replace(entry, step="blank-2")), ("clipped",))
    save(folder, session)
    assert load(folder, "heron") == session
    assert [path.name for path in folder.iterdir()] == [FILE]


def test_no_file_is_a_new_session(tmp_path):
    assert load(tmp_path, "heron") == Session("heron")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "null",
        '{"schema": "scanqa.session/1"}',
        '{"schema": "scanqa.session/99", "entries": []}',
        '{"schema": "scanqa.session/1", "scanner": "heron", "entries": [{}], "accepted": []}',
        '{"schema": "scanqa.session/1", "scanner": "heron", "entries": [3], "accepted": []}',
    ],
)
def test_a_damaged_file_is_a_sentence_and_stays(tmp_path, text):
    (tmp_path / FILE).write_text(text)
    with pytest.raises(BadOption, match="move it away"):
        load(tmp_path, "heron")
    assert (tmp_path / FILE).read_text() == text


@pytest.mark.parametrize("name", ["../other.tif", "/etc/passwd", "..", ".", "a/b.tif", "", "a\0b"])
def test_a_file_outside_the_folder_is_refused(tmp_path, name):
    data = {"schema": "scanqa.session/1", **asdict(Session("heron", (replace(ENTRY, file=name),)))}
    (tmp_path / FILE).write_text(json.dumps(data))
    with pytest.raises(BadOption, match="damaged"):
        load(tmp_path, "heron")


def test_scans_of_another_scanner_are_not_mixed_in(tmp_path):
    save(tmp_path, Session("wren"))
    with pytest.raises(BadOption, match="holds scans of wren, not heron"):
        load(tmp_path, "heron")


def test_a_changed_or_missing_file_is_to_be_scanned_again(tmp_path):
    import hashlib

    (tmp_path / "a.tif").write_bytes(b"whole")
    same = replace(ENTRY, step="a", file="a.tif", sha256=hashlib.sha256(b"whole").hexdigest())
    session = Session("heron", (same, ENTRY))
    assert changed(tmp_path, session) == {"blank-1": "blank-1.tif is gone"}
    (tmp_path / "a.tif").write_bytes(b"cut")
    assert changed(tmp_path, session)["a"] == "a.tif was changed since"


def test_a_full_disk_keeps_the_old_session(tmp_path, monkeypatch):
    save(tmp_path, Session("heron", (ENTRY,)))

    def full(descriptor):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(BadOption, match=r"No space left on device.*are kept"):
        save(tmp_path, Session("heron"))
    assert load(tmp_path, "heron").entries == (ENTRY,)
    assert [path.name for path in tmp_path.iterdir()] == [FILE]
