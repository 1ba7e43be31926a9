"""A file with its final name is complete, or is still the old one."""

import pytest

from scanqa.errors import BadOption
from scanqa.whole import check_writable, whole, write_whole


def test_text_and_bytes_arrive_and_folders_are_made(tmp_path):
    write_whole(tmp_path / "new" / "a.txt", "grün")
    write_whole(tmp_path / "new" / "b.bin", b"\0\1")
    assert (tmp_path / "new" / "a.txt").read_text("utf-8") == "grün"
    assert (tmp_path / "new" / "b.bin").read_bytes() == b"\0\1"
    assert len(list((tmp_path / "new").iterdir())) == 2


def half_written(path):
    with whole(path) as passing:
        passing.write_text("half")
        raise OSError(28, "No space left on device")


def test_what_goes_wrong_leaves_the_old_file_and_nothing_else(tmp_path):
    path = tmp_path / "a.txt"
    write_whole(path, "old")
    with pytest.raises(BadOption, match=r"a\.txt: cannot be written: No space left"):
        half_written(path)
    assert path.read_text() == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_in_the_place_of_the_folder_is_one_line(tmp_path):
    (tmp_path / "taken").write_text("a file")
    with pytest.raises(BadOption, match="cannot be written"):
        write_whole(tmp_path / "taken" / "a.txt", "text")


def test_a_look_whether_a_folder_can_be_written_leaves_nothing(tmp_path):
    kept = tmp_path / "there"
    kept.mkdir()
    for folder in (kept, tmp_path / "not" / "yet"):
        check_writable(folder)
    assert list(tmp_path.iterdir()) == [kept]
    assert list(kept.iterdir()) == []
    (tmp_path / "file").write_text("")
    with pytest.raises(BadOption, match="cannot be written"):
        check_writable(tmp_path / "file" / "below")
    assert (tmp_path / "file").is_file()
