"""A batch gives what ``scanqa qualify`` gives by hand, in any order; one line for each fault."""

import shutil
from dataclasses import replace

import pytest
from click.testing import CliRunner

from scanqa.batch.manifest import Piece, read_all
from scanqa.batch.tasks import Done, LookBack, Measure, perform
from scanqa.cli import main
from scanqa.model import Identity
from scanqa.records import scanners, store
from scanqa.records.database import open_store, travelling
from tests.batch.arena import LARGER, batch, make_archive, rows, unlike


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def pieces_of(archive):
    listed = read_all([archive], {})
    assert listed.wrong == ()
    return list(listed.pieces)


def measured(pieces, records):
    """Measure pieces in this process, then decide; what became of each."""
    found = [perform(Measure(piece, records)) for piece in pieces]
    for scanner in {piece.scanner for piece in pieces}:
        mine = frozenset(d.record_id for p, d in zip(pieces, found, strict=True)
                         if p.scanner == scanner and d.record_id)  # fmt: skip
        assert perform(LookBack(scanner, mine, records)) == Done("known")
    return found


def test_a_batch_is_what_qualify_gives_month_by_month(tmp_path):
    """Measured backwards and apart, a faded lamp is told from the first month all the same.

    The other path is the command for one set, run by hand in the order of the months. Truth: the
    simulator takes 19 % of the new lamp's light each month.
    """
    pieces = pieces_of(make_archive(tmp_path / "a", scanners=("heron",), size=LARGER))
    for piece in pieces:
        done = run("qualify", *piece.files, "--scanner", "heron", "--records", tmp_path / "hand",
                   "--date", piece.told.conditions["date"], "--out", tmp_path / "out")  # fmt: skip
        assert done.exit_code == 0, done.output
    records = travelling(str(tmp_path / "batch"))
    assert {done.how for done in measured(pieces[::-1], records)} == {"new"}
    by_hand, ours = rows(f"sqlite:///{tmp_path / 'hand'}"), rows(records)
    assert unlike(by_hand, ours) == []
    kept = sorted((row["taken"], row["document"]) for row in ours.values() if "document" in row)
    causes = [[f.get("cause") for f in document["findings"]] for _, document in kept]
    assert ["worn-lamp" in month for month in causes] == [False, True, True]


def test_processes_give_what_one_gives_in_any_order(archive, undisturbed, tmp_path):
    records = travelling(str(tmp_path / "backwards.sqlite"))
    measured(pieces_of(archive)[::-1], records)
    assert len([key for key in undisturbed if key[0] == "record"]) == 6
    assert unlike(rows(records), undisturbed) == []


def test_the_same_again_measures_nothing(archive, undisturbed, tmp_path):
    records = travelling(str(tmp_path / "again.sqlite"))
    pieces = pieces_of(archive)[:2]
    measured(pieces, records)
    before = rows(records)
    assert {done.how for done in measured(pieces, records)} == {"known"}
    assert rows(records) == before


def test_other_options_correct_a_record_in_its_place(archive, tmp_path):
    records = travelling(str(tmp_path / "told.sqlite"))
    (piece, *_) = pieces_of(archive)
    first = perform(Measure(piece, records))
    told = replace(piece, told=replace(piece.told, paper="office"))
    assert perform(Measure(told, records)) == Done("corrected", first.record_id)


def test_a_check_found_later_is_put_before_those_that_followed_it(tmp_path):
    """What was decided without it is decided anew: rows as if it had been there."""
    pieces = pieces_of(make_archive(tmp_path / "a", scanners=("heron",), months=2, size=LARGER))
    whole, late = (travelling(str(tmp_path / name)) for name in ("whole", "late"))
    measured(pieces, whole)
    measured(pieces[1:], late)  # without the month of the new lamp
    assert any(key[0] == "record" and key in rows(whole) for key in unlike(rows(late), rows(whole)))
    measured(pieces, late)
    assert unlike(rows(late), rows(whole)) == []


# --------------------------------------------------------------------------------- bad input


def test_an_unreadable_file_is_told_and_the_rest_is_measured(archive, tmp_path):
    copied = tmp_path / "orchard"
    shutil.copytree(archive, copied)
    (copied / "heron/2026-01-01/torn.tif").write_bytes(b"II*\0torn")
    (copied / "wren/2026-03-01/blank-1.tif").unlink()
    for page in (copied / "wren/2026-02-01").iterdir():
        page.write_text("no picture")
    (copied / "wren/2026-04-01").mkdir()
    status, out, wrong = batch(copied, "--records", tmp_path / "r.sqlite", "--new-scanners")
    assert status == 2
    assert out == "7 sets: 5 measured, 2 failed\n"
    *told, last = wrong  # as they come: which worker is done first is no promise
    assert sorted(line.split(":")[1] for line in told) == [
        " heron, 2026-01-01", *[" wren, 2026-02-01"] * 2, " wren, 2026-04-01",
    ]  # fmt: skip
    assert "torn.tif" in min(told)
    assert last == "scanqa: the same command tries these again, and nothing else"


def test_units_that_are_not_the_ones_named_are_not_put_on_record(archive, tmp_path):
    """A scanner that is none; two of one serial; scans that say another's serial."""
    records = tmp_path / "r.sqlite"
    with open_store(str(records)) as engine:
        for name, serial in (("heron", "0417"), ("wren", "0500"), ("teal", "0500")):
            scanners.keep_identity(engine, Identity(name, "Larkfield", "L-12", serial))
    shutil.copytree(archive / "heron", tmp_path / "o/hern")
    shutil.copytree(archive / "wren", tmp_path / "o/wren")
    status, out, wrong = batch(tmp_path / "o", "--records", records)
    assert (status, out) == (2, "0 sets: nothing to do\n")
    assert wrong == [
        "scanqa: hern: no such scanner; did you mean heron? If not, say --new-scanners "
        "(3 sets not measured)",
        "scanqa: wren: has serial 0500, and so has teal; say which by scanqa scanners change, "
        "or that one is --retired (3 sets not measured)",
    ]


@pytest.mark.parametrize(
    ("serial", "words"),
    [
        ("0418", "heron is on record with serial 0417; these scans say 0418"),
        ("0500", "heron is on record with serial 0417; these scans say 0500"),
        ("0417", ""),
    ],
)
def test_scans_of_another_unit_stay_off_the_record(archive, tmp_path, serial, words):
    records = travelling(str(tmp_path / "r.sqlite"))
    with open_store(records) as engine:
        scanners.keep_identity(engine, Identity("heron", serial="0417"))
    with_serial(archive / "heron/2026-01-01", tmp_path / "scans", serial)
    found = perform(Measure(Piece("a", "heron", (str(tmp_path / "scans"),)), records))
    assert (found.how == "failed") == bool(words)
    assert words in "".join(found.why)


def test_scans_that_say_the_serial_of_another_scanner_stay_off_the_record(archive, tmp_path):
    records = travelling(str(tmp_path / "r.sqlite"))
    with open_store(records) as engine:
        scanners.keep_identity(engine, Identity("wren", serial="0500"))
    with_serial(archive / "heron/2026-01-01", tmp_path / "scans", "0500")
    found = perform(Measure(Piece("a", "heron", (str(tmp_path / "scans"),)), records))
    assert found.how == "failed"
    assert found.why[0].startswith("these scans say serial 0500, which is wren's: not put on")
    with open_store(records) as engine:
        assert store.entries(engine) == []


def with_serial(folder, to, serial):
    """Copies of scans as JPEG with the Exif tag BodySerialNumber, written by Pillow."""
    from PIL import Image

    to.mkdir()
    for path in sorted(folder.iterdir()):
        with Image.open(path) as image:
            exif = Image.Exif()
            exif.get_ifd(0x8769)[0xA431] = serial  # Exif 2.3, BodySerialNumber
            image.save(to / f"{path.stem}.jpg", dpi=(100, 100), exif=exif, quality=98)


def test_a_user_who_may_not_write_is_told_before_anything_is_measured(archive, tmp_path):
    records = tmp_path / "r.sqlite"
    with open_store(str(records)):
        pass
    status, _, wrong = batch(archive, "--records", f"sqlite:///file:{records}?mode=ro&uri=true",
                             "--new-scanners")  # fmt: skip
    assert status == 2
    assert len(wrong) == 1
    assert "this user may only read" in wrong[0]
