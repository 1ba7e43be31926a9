"""Errors the user's input can cause (all else is a bug: a traceback), and what may be a name."""

from __future__ import annotations

import re
from os import PathLike


class ScanqaError(Exception):
    """Base of every error that the command line prints as one line and answers with status 2."""


class UnreadableScan(ScanqaError):
    """A file that cannot be used as a scan: names the file, what is wrong and what would help.

    Parameters
    ----------
    path : str or path
        The file as the user named it.
    why : str
        What is wrong, in words.
    hint : str
        What to do about it.
    """

    def __init__(self, path: str | PathLike[str], why: str, hint: str = "") -> None:
        super().__init__(f"{path}: {why}" + (f"; {hint}" if hint else ""))
        self.path = str(path)


class MirroredScan(UnreadableScan):
    """A scan whose fiducials can only be read in a mirror."""


class BadOption(ScanqaError):
    """An option whose value cannot be used."""


class NotARecord(ScanqaError):
    """A text that is not the JSON document of a qualification: says why."""


NAME_RULE = "use letters, digits, blank, '-', '_'"


def can_be_a_name(words: str) -> bool:
    """Whether a scanner or a set may go by these words: files, too, are named after it."""
    return re.fullmatch(r"\w[\w .-]{0,80}", words) is not None
