"""Memory that was freed is kept for what comes next.

Pictures of some megabytes come and go with every step. By its own rule the C library asks the
kernel for each and gives it back at once; every page of it is then cleared anew when it is first
touched, which on a page of a job took a third of the time.
"""

from __future__ import annotations

import ctypes
import sys

# mallopt(3) of the GNU C library; its largest threshold, and what may lie unused at the end.
M_TRIM_THRESHOLD, M_MMAP_THRESHOLD = -1, -3
LARGEST_KEPT_BYTES, MOST_UNUSED_BYTES = 32 << 20, 64 << 20


def keep_freed_memory() -> None:
    """Set so for this process and those forked from it; nothing where the C library is another."""
    if not sys.platform.startswith("linux"):
        return
    mallopt = getattr(ctypes.CDLL(None), "mallopt", None)
    if mallopt is not None:
        mallopt(M_TRIM_THRESHOLD, MOST_UNUSED_BYTES)
        mallopt(M_MMAP_THRESHOLD, LARGEST_KEPT_BYTES)
