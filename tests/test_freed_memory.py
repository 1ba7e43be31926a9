"""Freed memory stays: the kernel's own count of pages that it had to clear (getrusage(2))."""

import subprocess
import sys

TRIED = """
import resource, sys
import numpy as np
from scanqa.freed_memory import keep_freed_memory
if "keep" in sys.argv:
    keep_freed_memory()
for at in range(40):
    if at == 10:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for megabytes in (3, 9, 5):
        np.ones(megabytes << 20, np.uint8)
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def faults(*words):
    done = subprocess.run(
        [sys.executable, "-c", TRIED, *words], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


def test_pages_are_cleared_once():
    assert faults("keep") < 0.1 * (30 * (17 << 20) / 4096)
    assert faults("keep") <= faults()
