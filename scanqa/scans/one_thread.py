"""Libraries that compute in threads of their own kept to one."""

from __future__ import annotations

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
