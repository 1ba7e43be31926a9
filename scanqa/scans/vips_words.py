"""What libvips says, taken so that pyvips neither fails on it nor ends the process.

Both found by `tests.fuzz`. It quotes bytes of damaged files that are no UTF-8: pyvips fails on them
in a callback, where nothing can catch it. And pyvips has its warnings sent to a function in Python:
collecting garbage there may let go of another image, which warns in turn, and GLib ends a process
whose warnings come of warnings (seen with Python 3.13).
"""

from __future__ import annotations

from typing import Any

import pyvips


def _decoded(text: Any) -> str:
    """What pyvips does with a string of libvips, bytes that are no UTF-8 replaced."""
    if text == pyvips.ffi.NULL:
        return "NULL"
    found = pyvips.ffi.string(text)
    return found.decode("utf-8", "replace") if isinstance(found, bytes) else str(found)


def take_any_words() -> None:
    """Let pyvips take whatever libvips says of an error, and nothing that it merely warns of.

    What could not be decoded is in libvips' buffer of errors. That it then says nothing itself is
    set in ``scanqa/__init__`` (``VIPS_WARNING``), which it reads when it is loaded.
    """
    for module in (pyvips, pyvips.error, pyvips.gvalue):
        module._to_string = _decoded
    pyvips._remove_log_handler()
