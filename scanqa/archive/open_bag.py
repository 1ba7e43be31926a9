"""Whether a bag is still what it was."""

from __future__ import annotations

from pathlib import Path

import bagit

from scanqa.errors import BadOption


def faults_of(folder: Path) -> tuple[str, ...]:
    """What is wrong with a bag, a line for each; empty if it is valid.

    Raises
    ------
    BadOption
        If it is no bag that can be read.
    """
    try:
        bag = bagit.Bag(str(folder))
    except (bagit.BagError, OSError, ValueError) as error:
        raise BadOption(f"{folder}: is no bag that can be read ({error})") from error
    try:
        bag.validate()
    except bagit.BagValidationError as error:
        details = [" ".join(str(each).split()) for each in error.details]
        return tuple(details or [" ".join(str(error).split())])
    return ()
