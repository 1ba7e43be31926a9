"""Where the person sits: a terminal, its keys and lines.

A foot switch types Enter, a blank, or a key that turns pages (Page Down, an arrow, a function key):
all of them mean "go".

On a terminal a single key answers; when the input is piped, the first letter of a line does.
"""

from __future__ import annotations

import os
import select
import sys
import termios
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Protocol

GO, STOP = "go", "stop"


class Desk(Protocol):
    """What the guide needs of a terminal."""

    def say(self, words: str = "") -> None:
        """Print a line."""

    def passing(self, words: str) -> None:
        """Show words that the next ones replace; an empty string clears them."""

    def key(self, prompt: str, *, timeout_s: float | None = None) -> str | None:
        """Wait for a key: ``go`` (Enter, blank), a small letter, ``stop`` (end of input) or None.

        None is the answer when `timeout_s` has passed. Keys typed before are forgotten.
        """


class Terminal:
    """Standard input and output as a `Desk`."""

    def __init__(self) -> None:
        self._asked = ""
        self._shown = 0

    def say(self, words: str = "") -> None:
        """Print a line."""
        self.passing("")
        self._asked = ""
        print(words, flush=True)

    def passing(self, words: str) -> None:
        """Show words on a line that the next ones replace; nothing when piped."""
        if not sys.stdout.isatty() or not (words or self._shown):
            return
        blank = " " * (self._shown - len(words))
        print(f"\r{words}{blank}" + ("\r" if not words else ""), end="", flush=True)
        self._shown = len(words)

    def key(self, prompt: str, *, timeout_s: float | None = None) -> str | None:
        """Wait for a key; the prompt is printed once while it is asked again and again."""
        if not sys.stdin.isatty():
            return self._line(prompt, timeout_s)
        with _single_keys(sys.stdin.fileno(), forget=prompt != self._asked):
            self._show(prompt)
            if not select.select([sys.stdin], [], [], timeout_s)[0]:
                return None
            key = os.read(sys.stdin.fileno(), 64).decode("utf-8", "replace")
        self._asked = ""
        print(flush=True)
        return _meaning(key)

    def _line(self, prompt: str, timeout_s: float | None) -> str | None:
        self._show(prompt)
        until = None if timeout_s is None else time.monotonic() + timeout_s
        line = b""
        while not line.endswith(b"\n"):
            left = None if until is None else max(until - time.monotonic(), 0)
            if not line and not select.select([0], [], [], left)[0]:
                return None
            byte = os.read(0, 1)
            if not byte:
                break
            line += byte
        self._asked = ""
        print(flush=True)
        return _meaning(line.decode("utf-8", "replace"))

    def _show(self, prompt: str) -> None:
        if prompt != self._asked:
            self.passing("")
            print(prompt, end=" ", flush=True)
            self._asked = prompt


def _meaning(typed: str) -> str:
    if not typed or typed.startswith("\x04"):
        return STOP
    if len(typed) > 1 and typed.startswith("\x1b"):  # arrows, Page Down, F5: escape sequences
        return GO
    return typed.strip().lower()[:1] or GO


@contextmanager
def _single_keys(descriptor: int, *, forget: bool) -> Iterator[None]:
    """Keys come one by one, unseen; what was typed before is forgotten if asked."""
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor, termios.TCSAFLUSH if forget else termios.TCSANOW)
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSANOW, before)
