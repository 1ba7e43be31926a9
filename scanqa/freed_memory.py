"""What becomes of memory that was freed: kept for what comes next, or given back at once.

Pictures of some megabytes come and go with every step. By its own rule the C library asks the
kernel for most of them and gives them back; every page is then cleared anew when it is first
touched, which on a page of a job took a third of the time. What lies between others it keeps, which
after twenty measures was a hundred megabytes. All of this is for the GNU C library; where there is
another, nothing is done.
"""

from __future__ import annotations

import ctypes
import sys

# mallopt(3); its largest threshold, and what may lie unused at the end.
M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3
LARGEST_KEPT_BYTES, MOST_UNUSED_BYTES = 32 << 20, 64 << 20


def keep_freed_memory() -> None:
    """From now on: for one picture of a size after the other."""
    call = _of_c("mallopt")
    if call is not None:
        call(M_TRIM_THRESHOLD, MOST_UNUSED_BYTES)
        call(M_MMAP_THRESHOLD, LARGEST_KEPT_BYTES)


def give_back_memory() -> None:
    """Now: where something else follows, or somebody else needs it (malloc_trim(3))."""
    call = _of_c("malloc_trim")
    if call is not None:
        call(0)


def _of_c(name: str) -> ctypes._NamedFuncPointer | None:
    """A function of the C library, if it is there."""
    return getattr(ctypes.CDLL(None), name, None) if sys.platform.startswith("linux") else None
