"""Words of libvips that are no UTF-8: it quotes bytes of damaged files, and pyvips fails on them.

Found by `tests.fuzz`: the failure is in a callback, cannot be caught, and is printed.
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
    """Let pyvips take whatever libvips says."""
    for module in (pyvips, pyvips.error, pyvips.gvalue):
        module._to_string = _decoded
