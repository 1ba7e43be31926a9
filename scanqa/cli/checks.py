"""What options may hold, and exit statuses."""

from __future__ import annotations

import re

from scanqa.errors import BadOption

DONE, LIMIT_BROKEN, UNUSABLE = 0, 1, 2
PAPERS = ("a4", "letter", "a3")


def file_name(scanner: str) -> str:
    """A scanner's name as a file name; refuses what could leave the folder."""
    if not re.fullmatch(r"\w[\w .-]{0,80}", scanner):
        raise BadOption(
            f"--scanner {scanner!r}: cannot be a file name; use letters, digits, blank, '-', '_'"
        )
    name = scanner.strip().replace(" ", "-")
    if name.lower() == "index":
        raise BadOption("--scanner index: the folder's index has that name; choose another")
    return name


def check_positive(option: str, *numbers: float | None) -> None:
    """Refuse lengths and times that cannot be."""
    if any(number is not None and not 0 < number < 10_000 for number in numbers):
        raise BadOption(f"{option}: must be over 0")
