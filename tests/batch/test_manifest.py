"""What a manifest may say, and one line for each thing that it must not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanqa.batch.manifest import OPTIONS, read_all, told_of
from scanqa.errors import BadOption
from scanqa.model import Told


def written(folder, text):
    path = folder / "plan.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_lines_of_one_set_belong_together(tmp_path):
    path = written(
        tmp_path,
        "set,scanner,file,date,role,bars,dead-margin,book-edge\n"
        "autumn,heron,a/bed.tif,2026-11-25,,180.2 179.6,left 3.5 right 2,left\n"
        "autumn,heron,a/card.tif,,edge-card,,,\n"
        "autumn,heron,s3://orchard/heron/blank.tif,,,,,\n"
        "spring,heron,/scans/spring,2026-05-02T10:00,,,,\n",
    )
    autumn, spring = read_all([path], {}).pieces
    card = str((tmp_path / "a/card.tif").resolve())
    assert autumn.files == (
        str((tmp_path / "a/bed.tif").resolve()), card, "s3://orchard/heron/blank.tif",
    )  # fmt: skip
    assert autumn.roles == {card: "edge-card"}
    assert autumn.told == Told(
        bars_mm=(180.2, 179.6), dead_margins_mm={"left": 3.5, "right": 2.0}, book_edge="left",
        conditions={"date": "2026-11-25"},
    )  # fmt: skip
    assert (spring.files, spring.told.bars_mm) == (("/scans/spring",), None)


def test_what_the_users_settings_hold_is_said_unless_the_manifest_says_otherwise(tmp_path):
    path = written(tmp_path, "set,scanner,file,paper\na,heron,a,photo\nb,heron,b,\nc,wren,c,\n")
    usual = {"": {"paper": "office"}, "heron": {"paper": "coated", "print": "sheet 1"}}
    found = [(p.told.paper, p.told.print_label) for p in read_all([path], usual).pieces]
    assert found == [("photo", "sheet 1"), ("coated", "sheet 1"), ("office", "")]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("a,heron,x.tif,,yesterday,", "set a: date 'yesterday' is none; write 2026-11-25"),
        ("a,heron,x.tif,,,-3", "set a: dpi '-3': write 1 number(s) from 19.9 to 20001"),
        ("a,heron,x.tif,,,nan", "set a: dpi 'nan': write 1 number"),
        ("a,heron,,,,", "set a: a line names no file"),
        ("../a,heron,x.tif,,,", "set '../a' cannot be a name"),
        ("a,../heron,x.tif,,,", "scanner '../heron' cannot be a name"),
        ("a,heron,x.tif,song,,", "kind 'song' is none; write check or job"),
        ("a,heron,s3://orchard/x.tif,,,", "set a: say its date; a file from a store"),
        ("a,heron,s3://key:secret@orchard/x.tif,,2026-01-01,", "a URL holds a user or password"),
        ("a,heron,s3://orchard/job,job,,", "a job is one folder, where the worker can read it"),
        ("a,heron,x.tif,,2026-01-01,\na,heron,y.tif,,2026-01-02,", "says date 2026-01-01 and"),
    ],
)
def test_a_set_that_cannot_be_is_one_line_and_the_others_go_on(tmp_path, row, words):
    path = written(
        tmp_path, f"set,scanner,file,kind,date,dpi\n{row}\nb,heron,b.tif,,2026-02-01,600\n"
    )
    found = read_all([path], {})
    assert [piece.name for piece in found.pieces] == ["b"]
    (line,) = found.wrong
    assert line.startswith(f"{path}:2: ")
    assert words in line
    assert "secret" not in line


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "names no column set"),
        ("set,scanner\n", "names no column file; it needs set, scanner and file"),
        ("set,scanner,file,colour\n", "no column is called 'colour'; there are set, scanner"),
        ("set,scanner,file\n", "lists no set"),
        ("set,scanner,file\na,heron,x,y\n", ":2: more cells than the first line has"),
        ('set,scanner,file\na,heron,"x\n', "cannot be read"),
    ],
)
def test_a_manifest_that_cannot_be_read_is_refused(tmp_path, text, words):
    with pytest.raises(BadOption) as refused:
        read_all([written(tmp_path, text)], {})
    assert words in str(refused.value)


def test_bytes_that_are_no_text_and_folders_without_sets_are_refused(tmp_path):
    (tmp_path / "plan.csv").write_bytes(b"set,scanner,file\n\xff\xfe\n")
    (tmp_path / "empty").mkdir()
    for path, words in (
        (tmp_path / "plan.csv", "cannot be read"),
        (tmp_path / "none.csv", "cannot be read: No such file"),
        (tmp_path / "empty", "holds no sets; put a folder for each set in a folder for each"),
    ):
        with pytest.raises(BadOption) as refused:
            read_all([path], {})
        assert words in str(refused.value)


def test_a_set_listed_twice_is_told(tmp_path):
    path = written(tmp_path, "set,scanner,file\na,heron,x.tif\n")
    found = read_all([path, path], {})
    assert len(found.pieces) == 1
    assert "set a of heron is listed in" in found.wrong[0]


@given(options=st.dictionaries(st.sampled_from([*OPTIONS, "uses"]), st.text(max_size=12)))
def test_any_words_are_read_or_refused_in_one_line(options):
    found = told_or_refused(options)
    assert isinstance(found, Told) or "\n" not in found


def told_or_refused(options):
    try:
        return told_of(options)
    except BadOption as error:
        return str(error)
