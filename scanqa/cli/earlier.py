"""What a scanner gave at an earlier check, from the JSON document of that check."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model import Results


def read_earlier(path: Path | None) -> Results | None:
    """Measurements of a document that ``--json`` wrote; None without a path.

    Raises
    ------
    BadOption
        If the file cannot be read or is no such document.
    """
    if path is None:
        return None
    from scanqa.catalogue import CATALOGUE
    from scanqa.model import Measurement, Results
    from scanqa.report.document import check

    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BadOption(f"--earlier {path}: cannot be read ({error})") from None
    wrong = check(text)
    if wrong is not None:
        raise BadOption(f"--earlier {path}: {wrong}; give the file that --json wrote")
    return Results(
        tuple(
            Measurement(
                m["name"],
                m["value"],
                m["uncertainty"],
                m["status"],
                m["reason"] or "",
                m["scan"] or "",
                tuple(m["at_mm"]) if m["at_mm"] else None,
                m["direction"],
                m["channel"],
                m["edge_kind"],
            )
            for m in json.loads(text)["measures"]
            if m["name"] in CATALOGUE
        )
    )
