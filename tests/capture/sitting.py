"""Sits at the terminal of ``scanqa capture`` as a person would."""

import os
import re
import signal
import sys
import time
from pathlib import Path

import pexpect

ASKS = r"stop here(   \[u\] use \S+)?:"


class Sitting:
    """A running command; `answer` waits for the next question and presses a key."""

    def __init__(self, folder, *arguments, timeout=120, **environment):
        if "--lamp-wait" not in arguments:
            arguments = (*arguments, "--lamp-wait", "0")  # most fakes deliver one picture a step
        env = {**os.environ, "SCANQA_RECORDS": str(folder / "records.db"), **environment}
        self.child = pexpect.spawn(
            sys.executable,
            ["-m", "scanqa", "capture", *map(str, arguments)],
            cwd=str(folder),
            env=env,
            encoding="utf-8",
            timeout=timeout,
            dimensions=(50, 120),
        )
        self.screen = ""

    def answer(self, key):
        """Wait until it asks, then press a key."""
        self.until(ASKS)
        self.child.send(key)

    def until(self, pattern):
        self.child.expect(pattern)
        self.screen += self.child.before + self.child.after

    def end(self):
        """Wait until it ends: its exit status."""
        self.child.expect(pexpect.EOF)
        self.screen += self.child.before
        self.child.close()
        return self.child.exitstatus

    def press_ctrl_c(self):
        self.child.sendintr()

    def terminate(self):
        os.kill(self.child.pid, signal.SIGTERM)

    @property
    def text(self):
        """The screen without what was written over and without colours."""
        plain = re.sub(r"\x1b\[[0-9;?]*[A-Za-z]", "", self.screen).replace("\r\n", "\n")
        return "\n".join(
            next((part for part in reversed(line.split("\r")) if part.strip()), "")
            for line in plain.split("\n")
        )


def scanimages(folder):
    """Processes of scanimage that work for a folder."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                line = (entry / "cmdline").read_bytes().decode("utf-8", "replace")
            except OSError:
                continue
            if "scanimage" in line and "--output-file" in line and str(folder) in line:
                found.append(int(entry.name))
    return found


def gone(folder, within_s=30.0):
    """Whether no scanimage works for a folder, at the latest after some seconds."""
    until = time.monotonic() + within_s
    while scanimages(folder) and time.monotonic() < until:
        time.sleep(0.05)
    return not scanimages(folder)
