"""A folder that is followed: files half written, killed watches, folders that vanish."""

from __future__ import annotations

import json
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from scanqa.scans.save import save_jpeg, save_tiff
from scanqa.simulate.job_scanner import DirtLine, JobScanner
from tests.watch.jobs import Play, dirty, files

COUNT, FIRST = 22, 12


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """A job of small pages with a line from page 12 on: A6 at 150 dpi."""
    folder = tmp_path_factory.mktemp("pages")
    scanner = JobScanner(dpi=150, size_mm=(105.0, 148.0), seed=4)
    play = Play(77, COUNT, ("text",), True, scanner=scanner)
    plan = dirty(play.plan(), DirtLine(40.0, 0.2, -0.03), FIRST, COUNT)
    return list(files(folder, play, plan))


@pytest.fixture
def state(tmp_path, monkeypatch):
    monkeypatch.setenv("SCANQA_STATE", str(tmp_path / "state"))
    return tmp_path / "state"


def command(folder, out, *options):
    return [
        sys.executable, "-m", "scanqa", "job", "watch", str(folder), "--scanner", "heron",
        "--out", str(out), "--json", str(out / "job.json"), *options,
    ]  # fmt: skip


def run(folder, out, *options):
    return subprocess.run(
        command(folder, out, *options), capture_output=True, text=True, timeout=120, check=False
    )


def put(path: Path, folder: Path) -> None:
    """A page as a scanner's software delivers it, just now."""
    target = folder / path.name
    target.write_bytes(path.read_bytes())


def events_in(out):
    return json.loads((out / "job.json").read_text())


def wait_for(what, seconds=60.0):
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if what():
            return
        time.sleep(0.05)
    raise AssertionError("never happened")


def slowed():
    """How many times longer than alone this process takes just now, for others are busy."""
    begun, cpu = time.monotonic(), time.process_time()
    while time.process_time() - cpu < 0.2:
        pass
    return (time.monotonic() - begun) / 0.2


def read_of(out):
    """Pages in the JSON so far."""
    try:
        return len(events_in(out)["pages"])
    except (FileNotFoundError, json.JSONDecodeError):
        return 0


def followed(pages, folder, out, kills):
    """Follow a folder while pages come, killing the watch at the pages named; its JSON."""
    folder.mkdir()
    out.mkdir()
    log = (out / "log").open("w")
    watch = subprocess.Popen(command(folder, out, "--follow"), stdout=log, stderr=log)
    try:
        for at, page in enumerate(pages):
            put(page, folder)
            if at in kills:
                time.sleep(kills[at])
                watch.send_signal(signal.SIGKILL)
                watch.wait()
                watch = subprocess.Popen(command(folder, out, "--follow"), stdout=log, stderr=log)
        wait_for(lambda: read_of(out) == len(pages), 120)
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(timeout=60) == 1  # pages are to be scanned again
    finally:
        watch.kill()
        watch.wait()
        log.close()
    return events_in(out)


@pytest.mark.slow
def test_kill_9_at_any_moment_and_the_same_command_give_the_same_events(pages, tmp_path, state):
    undisturbed = followed(pages, tmp_path / "one", tmp_path / "out-one", {})
    kills = {3: 0.0, 9: 0.7, 14: 1.1, 19: 0.9, 21: 0.3}  # before, in and after reading
    killed = followed(pages, tmp_path / "two", tmp_path / "out-two", kills)
    for each in (undisturbed, killed):
        each.pop("folder")
    assert killed == undisturbed
    assert [e["kind"] for e in undisturbed["events"]] == ["line"]
    assert undisturbed["events"][0]["from_file"] == pages[FIRST].name
    assert undisturbed["redo"] == [page.name for page in pages[FIRST:]]


def test_a_followed_page_is_told_within_two_seconds_of_its_being_whole(pages, tmp_path, state):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    out.mkdir()
    for page in pages[:FIRST]:
        shutil.copy2(page, folder)
    log = (out / "log").open("w")
    watch = subprocess.Popen(command(folder, out, "--follow"), stdout=log, stderr=log)
    took = {}
    try:
        wait_for(lambda: read_of(out) == FIRST)
        for at in range(FIRST, COUNT):
            put(pages[at], folder)
            whole = time.monotonic()
            wait_for(lambda count=at + 1: read_of(out) == count, 20)
            took[at] = (time.monotonic() - whole) / slowed()
            if "a dark line at x" in (out / "log").read_text():
                break
        assert FIRST + 2 <= at <= FIRST + 4  # told with the third to the fifth page that shows it
        assert min(took.values()) < 2.0, took  # seconds of a machine with nothing else to do
    finally:
        watch.send_signal(signal.SIGTERM)
        watch.wait(timeout=60)
        log.close()


def test_a_file_that_is_still_being_written_is_read_once_and_when_it_is_whole(
    pages, tmp_path, state
):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    out.mkdir()
    data = pages[1].read_bytes()
    put(pages[0], folder)
    watch = subprocess.Popen(
        command(folder, out, "--follow"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        wait_for(lambda: read_of(out) == 1)  # it looks from now on
        with (folder / "slow.tif").open("wb") as file:
            for part in range(3):  # rests between parts for longer than two looks
                file.write(data[part * len(data) // 3 : (part + 1) * len(data) // 3])
                file.flush()
                if part < 2:
                    time.sleep(1.3)
                    assert read_of(out) == 1
        wait_for(lambda: read_of(out) == 2)
        page = events_in(out)["pages"][1]
        assert (page["file"], page["shows"], page["ok"]) == ("slow.tif", "page", True)
    finally:
        watch.send_signal(signal.SIGTERM)
        watch.wait(timeout=60)


def test_half_a_page_and_what_is_no_image_are_set_aside_and_the_rest_measured(
    pages, tmp_path, state
):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    for page in pages:
        shutil.copy2(page, folder)
    (folder / "half.tif").write_bytes(pages[3].read_bytes()[:-5000])
    (folder / "note.jpg").write_text("not an image")
    result = run(folder, out)
    assert result.returncode == 1
    assert "half.tif: cannot be read (ends early" in result.stderr
    assert "note.jpg: cannot be read (is text, not an image" in result.stderr
    assert "Traceback" not in result.stderr
    found = events_in(out)
    aside = {p["file"] for p in found["pages"] if p["shows"] == "unreadable"}
    assert aside == {"half.tif", "note.jpg"}
    assert [e["from_file"] for e in found["events"]] == [pages[FIRST].name]


def test_pages_in_another_way_another_size_and_from_another_scanner(pages, tmp_path, state):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    for page in pages[:FIRST]:
        shutil.copy2(page, folder)
    import tifffile

    codes = tifffile.imread(pages[2])
    save_tiff(folder / "90-side.tif", np.rot90(codes).copy(), 150)
    other = JobScanner(dpi=150, size_mm=(105.0, 148.0), seed=99)
    play = Play(78, 3, ("text",), scanner=other, blank_first=False)
    mixed = tmp_path / "mixed"
    mixed.mkdir()
    for page in files(mixed, play, play.plan()):
        shutil.copy2(page, folder / f"91-{page.name}")
    result = run(folder, out)
    found = {p["file"]: p for p in events_in(out)["pages"]}
    assert found["90-side.tif"]["left_out"] == "size"
    assert {found[f"91-000{n}.tif"]["left_out"] for n in range(3)} == {"columns"}
    assert not any(e["action"] == "scan-again" for e in events_in(out)["events"])
    assert result.returncode == 0


def test_the_folder_is_only_read(pages, tmp_path, state):
    folder = tmp_path / "job"
    folder.mkdir()
    for page in pages[:6]:
        shutil.copy2(page, folder)
    before = {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.iterdir()}
    folder.chmod(0o555)
    try:
        assert run(folder, tmp_path / "out").returncode == 0
    finally:
        folder.chmod(0o755)
    assert {p.name: (p.stat().st_mtime_ns, p.read_bytes()) for p in folder.iterdir()} == before


def test_a_folder_that_is_not_there_is_one_line(tmp_path, state):
    result = run(tmp_path / "nowhere", tmp_path / "out")
    assert result.returncode == 2
    assert result.stderr.startswith(f"scanqa: {tmp_path / 'nowhere'}: cannot be read")
    assert result.stderr.count("\n") == 1


def test_a_folder_that_vanishes_is_told_and_waited_for(pages, tmp_path, state):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    out.mkdir()
    put(pages[1], folder)
    log = (out / "log").open("w")
    watch = subprocess.Popen(command(folder, out, "--follow"), stdout=log, stderr=log)
    try:
        wait_for(lambda: read_of(out) == 1)
        folder.rename(tmp_path / "away")
        wait_for(lambda: "waiting for it" in (out / "log").read_text())
        (tmp_path / "away").rename(folder)
        put(pages[2], folder)
        wait_for(lambda: read_of(out) == 2)
        assert (out / "log").read_text().count("waiting for it") == 1
    finally:
        watch.send_signal(signal.SIGTERM)
        assert watch.wait(timeout=60) == 0
        log.close()


def test_two_watches_of_one_folder_and_a_full_disk_are_one_line(pages, tmp_path, state):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    out.mkdir()
    for page in pages[:4]:
        shutil.copy2(page, folder)
    watch = subprocess.Popen(
        command(folder, out, "--follow"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    try:
        wait_for(lambda: read_of(out) == 4)
        second = run(folder, out)
        assert second.returncode == 2
        assert "is watched already" in second.stderr
    finally:
        watch.send_signal(signal.SIGTERM)
        watch.wait(timeout=60)
    # No room for more than what is there: as on a full disk, writing fails in the middle.
    journal = next(state.rglob("*.jsonl"))
    room = journal.stat().st_size + 200
    shutil.copy2(pages[4], folder)
    full = subprocess.run(
        ["sh", "-c", f"ulimit -f {room // 512}; trap '' XFSZ; exec \"$@\"", "sh",
         *command(folder, out)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert full.returncode == 2, full.stderr
    assert "cannot be written" in full.stderr
    assert "the same command goes on" in full.stderr
    assert "Traceback" not in full.stderr
    assert run(folder, out).returncode == 0
    assert read_of(out) == 5


def test_records_that_are_gone_are_one_line_and_the_job_is_watched(pages, tmp_path, state):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    for page in pages[:3]:
        shutil.copy2(page, folder)
    broken = tmp_path / "records.sqlite"
    broken.write_text("no database")
    result = run(folder, out, "--records", str(broken))
    assert result.returncode == 0
    assert "watched without the check before the job" in result.stderr
    assert read_of(out) == 3


def test_a_page_scanned_again_under_its_name_leaves_the_order(pages, tmp_path, state):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    for page in pages:
        shutil.copy2(page, folder)
    assert run(folder, out).returncode == 1
    scanner = JobScanner(dpi=150, size_mm=(105.0, 148.0), seed=4)
    play = Play(77, COUNT, ("text",), True, scanner=scanner)
    again = tmp_path / "again"
    again.mkdir()
    for page in list(files(again, play, play.plan()))[FIRST:]:
        put(page, folder)
    result = run(folder, out)
    assert events_in(out)["redo"] == []
    assert result.returncode == 0


def test_jpeg_that_ends_early_is_told(tmp_path, state):
    folder, out = tmp_path / "job", tmp_path / "out"
    folder.mkdir()
    rng = np.random.default_rng(1)
    save_jpeg(folder / "a.jpg", rng.integers(180, 240, (600, 500), np.uint8), 150)
    data = (folder / "a.jpg").read_bytes()
    (folder / "b.jpg").write_bytes(data[: len(data) // 2])
    result = run(folder, out)
    assert result.returncode == 0
    assert "b.jpg: cannot be read (the image data is damaged or ends early" in result.stderr
