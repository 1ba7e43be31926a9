"""Quick sittings, stops and refusals at a pseudo-terminal; a full one: `test_full_sitting`."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from PIL import Image

from scanqa.capture.session import Session
from scanqa.cli import capture_command
from scanqa.cli.options import Delivery
from scanqa.model import Told
from tests.capture.conftest import configure
from tests.capture.fake import paper
from tests.capture.sitting import Sitting, gone, scanimages
from tests.capture.test_session import ENTRY

SLOW = ("--set", "read-delay=yes", "--set", "read-delay-duration=200000")


GUIDE = Path(__file__).parents[2] / "scanqa/capture/README.md"


def recording():
    """The quick sitting that the guide shows, without the line that starts it."""
    _, _, rest = GUIDE.read_text("utf-8").partition("```text\n$ scanqa capture")
    return rest.partition("```")[0].partition("\n")[2]


def skeleton(text):
    """Lines without their numbers, blank lines and progress bars.

    The test scans at 100 dpi, where pages an hour at 300 dpi are known as *at most* so many, hours
    as *at least*.
    """
    text = re.sub("at (most|least) ", "", text)
    lines = (re.sub(r"\d+(\.\d+)?", "#", line).strip() for line in text.splitlines())
    return [line for line in lines if line and "━" not in line]


def session_of(folder):
    return json.loads((folder / "scans/heron/session.json").read_text("utf-8"))


def steps_of(folder):
    return [entry["step"] for entry in session_of(folder)["entries"]]


def test_a_quick_sitting_on_the_test_backend_ends_with_the_report(sane, tmp_path):
    """The backend's solid white is paper at the very top of the scale: said once, then kept."""
    arguments = ("--scanner", "heron", "--blanks", "--dpi", "100", "--pages", "400", "--json", "j")
    at = Sitting(tmp_path, *arguments)
    at.answer("\r")
    at.answer("k")
    at.answer("\x1b[6~")  # a foot switch may type Page Down, or a blank
    assert at.end() == 0, at.text
    assert "Step 1 of 2: blank-1" in at.text
    assert "It shows plain white paper." in at.text
    assert "Scan it again because 100% of it is at the very top of the scale" in at.text
    assert "400 pages of A4: scan at " in at.text
    assert skeleton(at.text) == skeleton(recording()), f"record the sitting in {GUIDE} anew"
    (page,) = (tmp_path / "reports").glob("heron-check-*.html")
    decision, first = at.text.rstrip().splitlines()[-2:]
    assert decision.startswith("heron: Too little measured: scan the same with less brightness")
    assert first.startswith("First: Lower the brightness")
    assert page.read_text("utf-8").startswith("<!DOCTYPE html>")
    document = json.loads((tmp_path / "j").read_text("utf-8"))
    assert [scan["role"] for scan in document["scans"]] == ["blank", "blank"]
    unit = document["identity"]  # as sane-test says it
    assert (unit["make"], unit["model"], unit["driver"]) == (
        "Noname", "frontend-tester", "SANE test",
    )  # fmt: skip
    entries = session_of(tmp_path)["entries"]
    (pace,) = [m for m in document["measures"] if m["name"] == "pace.seconds_per_scan"]
    assert pace["value"] == pytest.approx(sum(entry["seconds"] for entry in entries) / 2)
    plan = document["plan"]  # timed at 100 dpi; letters of 1.5 mm ask for 300, which takes longer
    assert (plan["job"]["pages"], plan["dpi"], plan["at_most"]) == (400, 300, True)
    assert plan["pages_per_hour"] == pytest.approx(3600 / (pace["value"] + 5))
    assert (tmp_path / "records.db").exists()
    assert all(entry["options"]["depth"] == "16" for entry in entries)
    assert all(entry["seconds"] > 0 and entry["device"] == "test:0" for entry in entries)
    assert sorted(path.name for path in (tmp_path / "scans/heron").iterdir()) == [
        "blank-1.tif",
        "blank-2.tif",
        "session.json",
    ]


@pytest.mark.parametrize("how", ["Ctrl-C", "SIGTERM"])
def test_stopped_in_a_scan_nothing_is_lost_and_the_same_command_goes_on(sane, tmp_path, how):
    command = ("--scanner", "heron", "--blanks", "--dpi", "100", "--no-keep")
    first = Sitting(tmp_path, *command)
    first.answer("\r")
    first.answer("k")
    first.answer("q")
    assert first.end() == 130
    kept = (tmp_path / "scans/heron/blank-1.tif").read_bytes()

    second = Sitting(tmp_path, *command, *SLOW)
    second.answer("\r")
    second.until("scanning")
    assert scanimages(tmp_path)
    second.press_ctrl_c() if how == "Ctrl-C" else second.terminate()
    assert second.end() == 130, second.text
    assert (
        "Stopped. Finished scans are kept in scans/heron; the same command goes on." in second.text
    )
    assert "Traceback" not in second.text
    assert gone(tmp_path)
    assert steps_of(tmp_path) == ["blank-1"]
    assert sorted(path.name for path in (tmp_path / "scans/heron").iterdir()) == [
        "blank-1.tif",
        "session.json",
    ]

    if how == "SIGTERM":
        return
    third = Sitting(tmp_path, *command)
    third.until("Going on; already there: blank-1.")
    third.answer("\r")
    assert third.end() == 0, third.text
    assert steps_of(tmp_path) == ["blank-1", "blank-2"]
    assert (tmp_path / "scans/heron/blank-1.tif").read_bytes() == kept


def test_what_is_measured_is_what_was_kept_with_the_roles_that_cannot_be_seen(
    tmp_path, monkeypatch
):
    """The middle of a sheet at the highest dpi, and a scan that was kept though unrecognised."""
    facts = {"claim": {"role": "claim"}, "dark": {}, "blank-1": {"role": "blank"}}
    entries = tuple(
        replace(ENTRY, step=step, file=f"{step}.tif", facts=seen) for step, seen in facts.items()
    )
    asked = {}

    def measured(paths, *, scanner, told, progress):
        asked.update(paths=[path.name for path in paths], scanner=scanner, told=told)
        return SimpleNamespace(scans=())

    monkeypatch.setattr("scanqa.qualification.qualify", measured)
    monkeypatch.setattr(capture_command, "deliver", lambda *_, **__: 0)
    told = Told(conditions={"light": "LED"})
    session = Session("heron", entries)
    delivery = Delivery(tmp_path, None, keep=False, records=None)
    capture_command._report(session, tmp_path, told, delivery)
    assert asked["paths"] == ["blank-1.tif", "dark.tif", "claim.tif"]
    assert asked["told"].roles == {
        tmp_path / "claim.tif": "claim",
        tmp_path / "dark.tif": "dark",
    }
    assert asked["told"].conditions["light"] == "LED"


def test_the_same_plan_from_a_folder_that_other_software_fills(tmp_path):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    arguments = ("--scanner", "wren", "--blanks", "--from-folder", "inbox", "--no-keep")
    at = Sitting(tmp_path, *arguments, PATH="/nowhere")  # no scanimage is needed
    for number in (1, 2):
        at.until("waiting for a new file")
        picture = Image.fromarray(paper(number, shift_px=(40 * number, 0), size_mm=(80, 100)))
        picture.save(tmp_path / "whole.tif", dpi=(100, 100))
        os.replace(tmp_path / "whole.tif", inbox / f"Scan {number}.tif")
    assert at.end() == 0, at.text
    assert list((tmp_path / "reports").glob("wren-check-*.html"))
    entries = json.loads((inbox / "session.json").read_text("utf-8"))["entries"]
    assert [entry["file"] for entry in entries] == ["Scan 1.tif", "Scan 2.tif"]
    assert [entry["seconds"] for entry in entries] == [None, None]


def test_a_full_plan_from_a_folder_waits_for_each_file_and_goes_on(tmp_path):
    """Blanks 3 and 4 need no hand at a device; here each is a file of its own."""
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    arguments = ("--scanner", "wren", "--full", "--from-folder", "inbox", "--no-keep")

    def save(number):
        moved = (30 * (number > 1), 7)
        picture = Image.fromarray(paper(number, shift_px=moved, size_mm=(80, 100)))
        picture.save(tmp_path / "whole.tif", dpi=(100, 100))
        os.replace(tmp_path / "whole.tif", inbox / f"{number}.tif")

    at = Sitting(tmp_path, *arguments)
    for number in (1, 2, 3):
        at.until(f"blank-{number}[^0-9](.|\n)*waiting for a new file")
        save(number)
    at.until("blank-4(.|\n)*waiting for a new file")
    at.answer("q")
    assert at.end() == 130, at.text
    at = Sitting(tmp_path, *arguments)
    at.until(r"already there: blank-1, blank-2, blank-3\.")
    at.until("blank-4(.|\n)*waiting for a new file")
    save(4)
    at.until("Step 5 of 15: dark")
    at.answer("q")
    assert at.end() == 130, at.text
    entries = json.loads((inbox / "session.json").read_text("utf-8"))["entries"]
    assert [entry["file"] for entry in entries] == ["1.tif", "2.tif", "3.tif", "4.tif"]
    assert [entry["kept_despite"] for entry in entries] == [""] * 4


def run(folder, *arguments, keys="", **environment):
    return subprocess.run(
        [sys.executable, "-m", "scanqa", "capture", *arguments, "--lamp-wait", "0"],
        cwd=folder,
        env={**os.environ, **environment},
        input=keys,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


def test_devices_options_and_pace_are_listed(sane, tmp_path):
    devices = run(tmp_path, "--list")
    assert devices.stdout.startswith("test:0   Noname frontend-tester")
    options = run(tmp_path, "--list", "--device", "test:0").stdout
    assert "1 to 1200 in steps of 1 dpi" in options
    assert "Would scan with: source Flatbed, mode Color, depth 16, resolution 300" in options
    other = run(tmp_path, "--list", "--device", "test:0", "--dpi", "7000")
    assert (other.returncode, "Cannot scan with --dpi 7000: " in other.stdout) == (0, True)
    pace = run(tmp_path, "--pace", "--scanner", "heron", "--pages", "100")
    assert pace.returncode == 0, pace.stderr
    rows = [line.split()[:2] for line in pace.stdout.splitlines()[1:]]
    assert sorted(rows) == sorted(
        [str(dpi), mode] for dpi in (150, 200, 300, 400, 600) for mode in ("Color", "Gray")
    )
    assert list((tmp_path / "scans/heron").iterdir()) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "--scanner"),
        (("--scanner", "../x"), "cannot be a file name"),
        (("--scanner", "heron", "--device", "test:9"), "cannot be reached"),
        (("--scanner", "heron", "--dpi", "7000"), "offers no 7000 dpi"),
        (("--scanner", "heron", "--set", "nonsense"), "NAME=VALUE"),
        (("--scanner", "heron", "--set", "output-file=x"), "no such option"),
        (("--scanner", "heron", "--pages", "0"), "--pages 0"),
        (("--scanner", "heron", "--bars", "0", "180"), "--bars: must be over 0"),
        (("--scanner", "heron", "--ramp-height", "-3"), "--ramp-height: must be over 0"),
        (("--scanner", "heron", "--dead-margin", "left", "99"), "0 to 60"),
        (("--scanner", "heron", "--curve", "/nowhere"), "tone curve /nowhere"),
        (("--scanner", "heron", "--folder", "/proc/nowhere"), "cannot be made"),
        (("--scanner", "heron", "--blanks"), "no scans were made"),  # skips all, then the end
    ],
)
def test_what_cannot_be_is_one_line_and_status_2(sane, tmp_path, arguments, words):
    done = run(tmp_path, *arguments, keys="s\ns\n")
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith("scanqa: ")
    assert words in line
    assert not (tmp_path / "reports").exists()


def test_two_scanners_ask_which_and_none_says_what_to_do(tmp_path):
    two = str(configure(tmp_path / "two", devices=2))
    done = run(tmp_path, "--scanner", "heron", SANE_CONFIG_DIR=two)
    assert (done.returncode, "test:0, test:1" in done.stderr) == (2, True)
    none = configure(tmp_path / "none")
    (none / "dll.conf").write_text("")
    done = run(tmp_path, "--scanner", "heron", SANE_CONFIG_DIR=str(none))
    assert (done.returncode, "--from-folder" in done.stderr) == (2, True)


def test_keys_may_be_piped(sane, tmp_path):
    keys = "\nk\nq\n"
    done = run(tmp_path, "--scanner", "heron", "--blanks", "--dpi", "60", "--no-keep", keys=keys)
    assert done.returncode == 130, done.stderr
    assert steps_of(tmp_path) == ["blank-1"]
    assert "\r" not in done.stdout
