"""Wrong names are said to be wrong; settings hold what is the same each time."""

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pexpect
import pytest
from click.testing import CliRunner

from scanqa.cli import main
from tests.records.test_commands import filled, run  # noqa: F401
from tests.test_cli import blanks  # noqa: F401

pytestmark = pytest.mark.usefixtures("filled")


def refused(*args):
    """The one line that a call is refused with."""
    result = run(*args)
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    return line


@pytest.mark.parametrize(
    ("args", "meant"),
    [
        (("qualifi",), "did you mean qualify?"),
        (("records", "lsit"), "did you mean list?"),
        (("scanners", "ad"), "did you mean add?"),
        (("job", "wacht"), "did you mean watch?"),
        (("explain", "sharpness.sfr5"), "did you mean sharpness.sfr50"),
        (("history", "heron", "--limit", "noise.tota=3"), "did you mean noise.total?"),
        (("history", "heron", "--limit", "sfr50=3"), "did you mean sharpness.sfr50?"),
        (
            ("qualify", ".", "--scanner", "h", "--fail-on", "noise.tota>3"),
            "did you mean noise.total?",
        ),
        (("history", "hreon"), "did you mean heron?"),
        (("compare", "Heron", "wren"), "did you mean heron?"),
        (("compare", "heron", "wern@2026-11-01"), "did you mean wren?"),
        (("records", "list", "herno"), "did you mean heron?"),
        (("scanners", "show", "weren"), "did you mean wren?"),
        (("scanners", "change", "weren", "--make", "Tarn"), "did you mean wren?"),
        (("event", "herron", "glass cleaned"), "did you mean heron?"),
        (("events", "list", "herron"), "did you mean heron?"),
    ],
)
def test_a_slip_of_the_pen_is_named_with_what_may_be_meant(args, meant):
    assert meant in refused(*args)


def test_a_name_that_is_like_no_other_says_what_to_do():
    assert refused("banana") == "scanqa: banana: no such command; see scanqa --help"
    assert "see scanqa records list" in refused("history", "zzzz")


def test_an_option_that_is_none_is_told_by_click():
    """In words that differ from version to version; the option meant is among them."""
    said = run("qualify", "--scaner", "heron").stderr
    assert "No such option" in said
    assert "--scanner" in said


# --------------------------------------------------------------------------------- events


def test_events_are_listed_and_removed_by_number_or_words():
    for words, day in (("glass cleaned", "2026-02-15"), ("new lamp", "2026-03-15")):
        run("event", "heron", words, "--date", day)
    run("event", "wren", "glass cleaned", "--date", "2026-04-15")
    listed = run("events", "list").stdout.splitlines()
    assert [line.split(maxsplit=1)[1] for line in listed] == [
        "2026-02-15 heron: glass cleaned",
        "2026-03-15 heron: new lamp",
        "2026-04-15 wren: glass cleaned",
    ]
    assert len(run("events", "list", "wren").stdout.splitlines()) == 1
    assert "did you mean new lamp?" in refused("events", "remove", "new lmap")
    several = refused("events", "remove", "glass cleaned")
    assert run("events", "remove", re.findall(r"\d+", several)[-1]).exit_code == 0
    assert "2026-03-15" in run("events", "remove", "new lamp").stdout
    assert "new lamp" not in run("history", "heron").stdout
    assert run("events", "list").stdout.splitlines() == listed[:1]


def test_an_event_makes_no_scanner_unasked():
    assert "--new-scanner" in refused("event", "owl", "arrived")
    assert run("events", "list").stdout == ""
    assert run("event", "owl", "arrived", "--new-scanner").exit_code == 0
    assert run("event", "owl", "glass cleaned").exit_code == 0  # known from now on


@pytest.mark.parametrize(("answer", "noted"), [("y", 1), ("n", 0)])
def test_at_a_terminal_it_asks(answer, noted):
    words = [sys.executable, "-m", "scanqa", "event", "owl", "arrived"]
    child = pexpect.spawn(words[0], words[1:], encoding="utf-8", timeout=60)
    child.expect("No scanner owl is on record")
    child.sendline(answer)
    child.expect(pexpect.EOF)
    child.close()
    assert child.exitstatus == (0 if noted else 2)
    assert len(run("events", "list").stdout.splitlines()) == noted


def test_records_are_listed_with_what_was_decided(blanks, tmp_path):  # noqa: F811
    run("qualify", blanks, "--scanner", "owl", "--out", tmp_path / "reports")
    (line,) = run("records", "list", "owl").stdout.splitlines()
    assert line.endswith("owl: Nothing found against it, still open")


# ------------------------------------------------------------------------- quiet, colours


def test_quiet_prints_the_decision_alone(blanks, tmp_path):  # noqa: F811
    result = run("qualify", blanks, "--scanner", "owl", "--out", tmp_path / "reports", "-q")
    (line,) = result.stdout.splitlines()
    assert line.startswith("owl: Nothing found against it")
    assert result.stderr == ""
    assert list((tmp_path / "reports").glob("owl-check-*.html"))


@pytest.mark.parametrize("call", [("history", "heron"), ("compare", "heron", "wren")])
def test_quiet_prints_the_answer_alone(call):
    (answer,) = run(*call, "-q").stdout.splitlines()
    first, *rest = run(*call, "--all").stdout.splitlines()
    assert answer == first
    assert rest


@pytest.mark.parametrize("colours", [True, False])
def test_no_color_takes_the_colours_away(colours, tmp_path):
    """https://no-color.org: no ANSI colour where NO_COLOR is set and not empty."""
    code = (
        "import time\nfrom scanqa.cli.delivery import progress\n"
        "with progress() as shown:\n    shown(1, 2, 'measuring'); time.sleep(0.5)\n"
    )
    script = tmp_path / "show.py"
    script.write_text(code, "utf-8")
    env = {**os.environ, "TERM": "xterm-256color", "NO_COLOR": "" if colours else "1"}
    out, status = pexpect.run(
        f"{sys.executable} {script}", env=env, withexitstatus=True, timeout=60
    )
    assert status == 0, out
    assert b"measuring" in out
    codes = {c for found in re.findall(rb"\x1b\[([\d;]*)m", out) for c in found.split(b";")}
    coloured = {c for c in codes if c.isdigit() and (30 <= int(c) <= 49 or 90 <= int(c) <= 107)}
    assert bool(coloured) == colours


def test_quick_means_one_thing():
    """``--quick`` is the small demo; the sitting of two blanks is called what it is."""
    from scanqa.cli.option_table import option_table

    rows = [line for line in option_table().splitlines() if "`--quick`" in line]
    assert [row.split(" | ")[0] for row in rows] == ["| `demo`"]
    rows = [line for line in option_table().splitlines() if "`--blanks`" in line]
    assert rows == ["| `capture` | `--blanks` | The two blanks alone. |"]


# ------------------------------------------------------------------------------- settings

SETTINGS = """
light = "daylight"

[scanner.heron]
paper = "office"
card-paper = "photo"
book-edge = "left"
bars = [180.2, 179.6]
print = "sheet 1"
for = ["text"]
"""


def settings(text):
    path = Path(os.environ["SCANQA_SETTINGS"])
    path.write_text(text, "utf-8")
    return path


def told(*args, tmp_path):
    file = tmp_path / "told.json"
    result = run("qualify", *args, "--out", tmp_path / "reports", "--json", file)
    assert result.exit_code == 0, result.stderr
    return json.loads(file.read_text("utf-8"))


def test_settings_hold_and_the_command_line_comes_first(blanks, tmp_path):  # noqa: F811
    settings(SETTINGS)
    ours = told(blanks, "--scanner", "heron", tmp_path=tmp_path)
    assert ours["options"]["bars"] == "180.2 179.6"
    assert ours["options"]["book-edge"] == "left"
    assert ours["options"]["print"] == "sheet 1"
    assert ours["conditions"]["light"] == "daylight"
    assert ours["decision"]["uses"] == ["text"]  # the only one that counts, still open
    said = told(
        blanks, "--scanner", "heron", "--bars", 180, 180, "--light", "LED", tmp_path=tmp_path
    )
    assert said["options"]["bars"] == "180 180"
    assert said["options"]["book-edge"] == "left"
    assert said["conditions"]["light"] == "LED"
    other = told(blanks, "--scanner", "wren", tmp_path=tmp_path)
    assert "bars" not in other["options"]
    assert other["conditions"]["light"] == "daylight"


def test_uses_lie_beside_the_settings_and_records_where_they_say(
    blanks,  # noqa: F811
    tmp_path,
    monkeypatch,
):
    guide = Path(main.__module__.replace(".", "/")).parent / "findings" / "README.md"
    text = (Path(__file__).parents[1] / guide).read_text("utf-8")
    (uses,) = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    (tmp_path / "orchard.toml").write_text(uses, "utf-8")
    base = tmp_path / "mine.sqlite"
    settings(f'records = "{base}"\n[scanner.heron]\nuses = "orchard.toml"\n')
    told(blanks, "--scanner", "heron", tmp_path=tmp_path)
    assert not base.exists()  # SCANQA_RECORDS comes first
    monkeypatch.delenv("SCANQA_RECORDS")
    found = told(blanks, "--scanner", "heron", tmp_path=tmp_path)
    assert [use["use"] for use in found["outcome"]["uses"]] == ["price lists", "colour plates"]
    assert len(run("records", "list").stdout.splitlines()) == 1
    assert base.exists()


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("bokedge = 1", "no such setting"),
        ('book-egde = "left"', "did you mean book-edge?"),
        ("[scanner.heron]\nbar = [1, 2]", "scanner.heron: bar: no such setting"),
        ("scanner = 3", "write a table [scanner.NAME]"),
        ("[scanner.heron]\nbars = [1, 2, 3]", "bars = [1, 2, 3]"),
        ("[scanner.heron]\nbars = 180", "write bars = [180.2, 179.6]"),
        ('[scanner.heron]\nbook-edge = "lefft"', "book-edge = 'lefft'"),
        ("[scanner.heron]\nprint = { a = 1 }", "write print ="),
        ("nonsense", "cannot be read"),
    ],
)
def test_a_mistake_in_the_settings_is_one_line(text, words):
    path = settings(text)
    line = refused("qualify", ".", "--scanner", "heron")
    assert str(path) in line
    assert words in line


def test_settings_are_shown_and_their_example_is_one(tmp_path):
    shown = run("settings").stdout
    path, _, example = shown.partition("\n")
    assert path == os.environ["SCANQA_SETTINGS"]
    settings(example.partition("\n")[2])
    assert run("history", "heron", "--records", tmp_path / "none.sqlite").exit_code == 2
    text = run("settings").stdout
    assert "--book-edge left" in text
    assert "--bars 180.2 179.6" in run("settings", "heron").stdout
    assert "--bars" not in run("settings", "wren").stdout


# --------------------------------------------------------------------- man pages, completion


def test_man_pages_and_completions_come_from_the_commands(tmp_path):
    result = CliRunner().invoke(main, ["manual", "--out", str(tmp_path)])
    assert result.exit_code == 0, result.output
    from scanqa.cli import COMMANDS

    pages = {path.name for path in (tmp_path / "man/man1").iterdir()}
    assert {f"scanqa-{name}.1" for name in COMMANDS} <= pages
    assert {"scanqa.1", "scanqa-records-list.1", "scanqa-job-watch.1"} <= pages
    qualify = (tmp_path / "man/man1/scanqa-qualify.1").read_text("utf-8")
    assert r"\-\-book\-edge" in qualify
    for line in result.stdout.splitlines()[1:]:
        assert "_SCANQA_COMPLETE" in Path(line).read_text("utf-8")
    script = tmp_path / "bash-completion/completions/scanqa"
    assert subprocess.run([shutil.which("bash"), "-n", script], check=False).returncode == 0


def test_the_completion_knows_commands_and_options():
    env = {
        **os.environ,
        "_SCANQA_COMPLETE": "bash_complete",
        "COMP_WORDS": "scanqa qualify --book",
        "COMP_CWORD": "2",
    }
    words = [sys.executable, "-c", "from scanqa.cli import main; main(prog_name='scanqa')"]
    done = subprocess.run(words, env=env, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["plain,--book-edge"]
