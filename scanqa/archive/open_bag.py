"""Whether a bag is still what it was."""

from __future__ import annotations

from pathlib import Path

import bagit

from scanqa.errors import BadOption
from scanqa.whole import hash_of


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
        return tuple(details or _each(folder, bag) or [" ".join(str(error).split())])
    return ()


def _each(folder: Path, bag: bagit.Bag) -> list[str]:
    """Files that differ, where the library stops at the first sum that does not agree."""
    found = []
    for name, hashes in sorted(bag.payload_entries().items()):
        path = folder / name
        if not path.is_file():
            found.append(f"{name}: missing")
            continue
        for algorithm, stated in hashes.items():
            if hash_of(path, algorithm) != stated:
                found.append(f"{name}: changed ({algorithm})")
    return found
