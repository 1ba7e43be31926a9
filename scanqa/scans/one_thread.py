"""Libraries that compute in threads of their own kept to one."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def one_thread() -> Iterator[None]:
    """OpenCV starts no thread meanwhile: a process with threads cannot be forked."""
    import cv2

    before = cv2.getNumThreads()
    cv2.setNumThreads(1)
    try:
        yield
    finally:
        cv2.setNumThreads(before)


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Processes that are begun meanwhile take one thread for matrices and for decoding."""
    names = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "VIPS_CONCURRENCY")
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(dict.fromkeys(names, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name)
            if value is not None:
                os.environ[name] = value
