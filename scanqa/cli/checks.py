"""What options may hold, and exit statuses."""

from __future__ import annotations

from scanqa.errors import NAME_RULE, BadOption, can_be_a_name

DONE, LIMIT_BROKEN, UNUSABLE = 0, 1, 2
PAPERS = ("a4", "letter", "a3")


def file_name(scanner: str) -> str:
    """A scanner's name as a file name; refuses what could leave the folder."""
    if not can_be_a_name(scanner):
        raise BadOption(f"--scanner {scanner!r}: cannot be a file name; {NAME_RULE}")
    name = scanner.strip().replace(" ", "-")
    if name.lower() == "index":
        raise BadOption("--scanner index: the folder's index has that name; choose another")
    return name


def check_positive(option: str, *numbers: float | None) -> None:
    """Refuse lengths and times that cannot be."""
    if any(number is not None and not 0 < number < 10_000 for number in numbers):
        raise BadOption(f"{option}: must be over 0")
