"""Fault × what the user reads × what was kept × how it goes on: printed as Markdown.

Run by hand, as root for the row with a real full disk (a tmpfs is mounted)::

    python -m tests.capture.fault_table

Each row sits at a terminal: blank-1 is scanned and kept, the fault strikes at blank-2, the command
is stopped, then the same command is run without the fault and goes on.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import contextmanager
from pathlib import Path

from tests.capture.conftest import configure
from tests.capture.fake import FakeScanimage, all_gone, paper
from tests.capture.sitting import Sitting, gone
from tests.capture.test_scan import STATUSES

BASE = ("--scanner", "heron", "--blanks", "--dpi", "100", "--no-keep")
SLOW = ("--set", "read-delay=yes", "--set", "read-delay-duration=200000")


def first(folder: Path, *arguments: str, **environment: str) -> None:
    """Scan and keep blank-1, then stop."""
    at = Sitting(folder, *BASE, *arguments, **environment)
    at.answer("\r")
    if at.child.expect(["Good", "Scan it again"]):
        at.answer("k")
    at.answer("q")
    at.end()


def kept(folder: Path) -> str:
    scans = folder / "scans/heron"
    return ", ".join(sorted(path.name for path in scans.iterdir() if path.name != "session.json"))


def on(folder: Path, *arguments: str, **environment: str) -> str:
    """Run the same command without the fault."""
    at = Sitting(folder, *BASE, *arguments, **environment)
    at.answer("\r")
    if at.child.expect(["Good|Kept", "Scan it again"]):
        at.answer("k")
    status = at.end()
    text = (
        "goes on with blank-2, report"
        if "Going on; already there: blank-1" in (at.screen + at.text)
        else "begins anew"
    )
    return f"{text}, status {status}"


def reads(at: Sitting) -> str:
    """The line that tells of the fault."""
    lines = [line.strip() for line in at.text.splitlines()]
    for start in ("No scan: ", "scanqa: ", "Stopped"):
        told = [line.removeprefix("No scan: ") for line in lines if line.startswith(start)]
        if told:
            return told[-1]
    return "(nothing)"


def row(fault: str, folder: Path, at: Sitting, resumed: str, stray: bool) -> None:
    left = "**a process is left**" if stray else "no process left"
    print(f"| {fault} | {reads(at)} | {kept_before[str(folder)]}; {left} | {resumed} |", flush=True)


kept_before: dict[str, str] = {}


def strike(
    fault: str,
    folder: Path,
    *arguments: str,
    act: Callable[[Sitting], None] | None = None,
    resume: tuple[str, ...] = (),
    mend: Callable[[], object] = lambda: None,
    pids: Callable[[], list[int]] = lambda: [],
) -> None:
    """Meet a fault at blank-2, stop, go on without it, print the row."""
    at = Sitting(folder, *BASE, *arguments)
    at.answer("\r")
    if act is not None:
        at.until("scanning")
        act(at)
    else:
        at.answer("q")
    at.end()
    kept_before[str(folder)] = kept(folder)
    stray = not gone(folder) or not all_gone(pids())
    mend()
    row(fault, folder, at, on(folder, *resume), stray)


@contextmanager
def fresh():
    with tempfile.TemporaryDirectory(prefix="scanqa-faults-") as name:
        yield Path(name)


def statuses() -> None:
    for status in STATUSES:
        with fresh() as folder:
            os.environ["SANE_CONFIG_DIR"] = str(configure(folder / "sane"))
            first(folder)
            value = f"read-return-value=SANE_STATUS_{status}"
            strike(f"SANE_STATUS_{status} (test backend)", folder, "--set", value)


def stopped() -> None:
    for name, act in {
        "Ctrl-C in a scan (test backend)": Sitting.press_ctrl_c,
        "SIGTERM to scanqa in a scan (test backend)": Sitting.terminate,
        "kill -9 of scanqa in a scan (test backend)": lambda at: os.kill(at.child.pid, 9),
    }.items():
        with fresh() as folder:
            os.environ["SANE_CONFIG_DIR"] = str(configure(folder / "sane"))
            first(folder)
            strike(name, folder, *SLOW, act=act)


def full_disk() -> None:
    """A tmpfs that holds one scan and a part of a second; the rest is filled while it scans."""
    with fresh() as folder:
        os.environ["SANE_CONFIG_DIR"] = str(configure(folder / "sane"))
        disk = folder / "scans"
        disk.mkdir()
        size = "size=700k"
        if subprocess.run(["mount", "-t", "tmpfs", "-o", size, "tmpfs", disk]).returncode:
            print("| full disk | not run: no tmpfs could be mounted | | |")
            return
        try:
            first(folder)
            (disk / "filler").write_bytes(b"0" * 250_000)
            strike(
                "disk full before the scan (tmpfs)", folder, mend=lambda: (disk / "filler").unlink()
            )
        finally:
            subprocess.run(["umount", disk], check=True)
    with fresh() as folder:
        os.environ["SANE_CONFIG_DIR"] = str(configure(folder / "sane"))
        disk = folder / "scans"
        disk.mkdir()
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", disk], check=True)
        try:
            first(folder)

            def fill(at: Sitting) -> None:
                (disk / "filler").write_bytes(b"0" * 500_000)
                at.answer("q")

            strike(
                "disk fills up in the scan (tmpfs)",
                folder,
                *SLOW,
                act=fill,
                mend=lambda: (disk / "filler").unlink(),
            )
        finally:
            subprocess.run(["umount", disk], check=True)


def liars() -> None:
    path = os.environ["PATH"]
    rows = {
        "unplugged half-way (part of a file, I/O error)": "unplugged",
        "unplugged before the scan": "unreachable",
        "truncated file, status 0": "truncated",
        "no file, status 0": "nothing",
        "driver crashes (SIGSEGV)": "crash",
        "SIGTERM to scanimage (part of a file)": "terminated",
        "dpi silently changed in the scan": "clamped",
        "hang, SIGINT ignored, a process of its own (time-out 2 s)": "hang",
        "hang (time-out 2 s)": "silent",
    }
    for words, behaviour in rows.items():
        with fresh() as folder:
            fake = FakeScanimage(folder / "fake")
            os.environ["PATH"] = f"{fake.bin}:{path}"
            fake.queue(paper(1))
            fake.queue(paper(2, shift_px=(40, 9)))
            first(folder)
            fake.does(behaviour)
            strike(
                words,
                folder,
                "--timeout",
                "2",
                mend=lambda fake=fake: fake.does("serve"),
                pids=lambda fake=fake: fake.pids if (fake.home / "pids").exists() else [],
            )
    os.environ["PATH"] = path


def clamped() -> None:
    with fresh() as folder:
        os.environ["SANE_CONFIG_DIR"] = str(configure(folder / "sane"))
        first(folder)
        at = Sitting(folder, *BASE, "--dpi", "5000")
        at.end()
        kept_before[str(folder)] = kept(folder)
        row("dpi not on offer (test backend)", folder, at, on(folder), not gone(folder))


if __name__ == "__main__":
    print("| fault | what the user reads | what is kept | the same command again |")
    print("| --- | --- | --- | --- |")
    statuses()
    clamped()
    stopped()
    full_disk()
    liars()
    sys.exit(0)
