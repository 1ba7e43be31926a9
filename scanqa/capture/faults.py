"""What can go wrong with a scanner, in words: what happened and what to do about it.

``scanimage`` ends with the number of the SANE status (sane.h; SANE Standard 1.06, section 4.2.7),
but says 1 for its own troubles too, and some failures end with 0: its messages come first.
"""

from __future__ import annotations

import signal
from collections.abc import Sequence

from scanqa.errors import ScanqaError


class ScanFailed(ScanqaError):
    """A scan that did not come about; nothing of it was kept.

    Parameters
    ----------
    why : str
        What happened, in words.
    hint : str
        What to do about it.
    """

    def __init__(self, why: str, hint: str = "") -> None:
        super().__init__(why + (f"; {hint}" if hint else ""))
        self.why, self.hint = why, hint


STATUSES = {  # SANE status: what happened, what to do
    1: ("the scanner does not support what was asked", "look at its options with --list"),
    2: ("the scan was cancelled at the scanner", "scan again"),
    3: ("the scanner is busy", "close other scanning programs, wait a moment, scan again"),
    4: ("the scanner refused a setting", "look at its options with --list"),
    5: ("the scanner sent no more data", "scan again; switch it off and on if that fails"),
    6: ("paper is jammed in the feeder", "free it, choose the flatbed, scan again"),
    7: ("the feeder holds no paper", "choose the flatbed with --set source=…, scan again"),
    8: ("the cover is open", "close it, scan again"),
    9: (
        "the scanner stopped answering (input/output error)",
        "check cable and power, switch it off and on, scan again",
    ),
    10: ("the driver ran out of memory", "close other programs or scan at a lower dpi"),
    11: (
        "you may not use the scanner",
        "join the group 'scanner' (sudo adduser $USER scanner), then log in again",
    ),
}
PHRASES = {  # of scanimage's messages (sane_strstatus), the statuses they mean
    "Operation not supported": 1,
    "Operation was canceled": 2,
    "Operation was cancelled": 2,
    "Device busy": 3,
    "Document feeder jammed": 6,
    "Document feeder out of documents": 7,
    "Scanner cover is open": 8,
    "Error during device I/O": 9,
    "Out of memory": 10,
    "Access to resource has been denied": 11,
}
DISK_FULL = ("the disk is full", "free some room or choose another --folder")


def failure(status: int, said: Sequence[str]) -> ScanFailed:
    """What a failed run of ``scanimage`` means.

    Parameters
    ----------
    status : int
        Its exit status; negative if a signal ended it.
    said : sequence of str
        Lines of its standard error.
    """
    text = " ".join(said)
    last = said[-1].removeprefix("scanimage: ") if said else ""
    if "No space left on device" in text or status == -signal.SIGXFSZ:
        return ScanFailed(*DISK_FULL)
    for phrase, meant in PHRASES.items():
        if phrase in text:
            return ScanFailed(*STATUSES[meant])
    if "open of device" in text or "no SANE devices found" in text:
        return ScanFailed(
            f"the scanner cannot be reached ({last})",
            "check cable, power and its name (scanqa capture --list), scan again",
        )
    if "unrecognized option" in text or "setting of option" in text:
        return ScanFailed(f"the scanner refused a setting ({last})", STATUSES[4][1])
    if status in STATUSES and status > 1:
        return ScanFailed(*STATUSES[status])
    if -status in (signal.SIGINT, signal.SIGTERM, signal.SIGKILL, signal.SIGHUP):
        return ScanFailed(f"the scan was ended from outside (signal {-status})", "scan again")
    if status < 0:
        return ScanFailed(f"the driver crashed (signal {-status})", "scan again")
    detail = f" ({last})" if last else ""
    return ScanFailed(f"the scan failed with status {status}{detail}", "scan again")
