"""Tasks that cost nothing, or their worker; of a module, so that workers find them by name."""

from __future__ import annotations

import os
import signal
from pathlib import Path


def nothing(task):
    return task


def process_id(task):
    return os.getpid()


def tried(task):
    """Note each try in a file; then end as the task says."""
    what, log = task
    with Path(log).open("a") as file:
        file.write(f"{what}\n")
    if what.startswith("kill"):
        os.kill(os.getpid(), signal.SIGKILL)
    if what.startswith("memory"):
        raise MemoryError
    if what.startswith("fault"):
        raise ZeroDivisionError("of the test")
    return what


def memory_limit(task):
    """What the worker may take, and what comes of asking for more."""
    import resource

    import numpy as np

    limit = resource.getrlimit(resource.RLIMIT_DATA)[0]
    try:
        return limit, np.ones(2 * limit, np.uint8).size
    except MemoryError:
        return limit, "refused"
