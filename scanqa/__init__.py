"""scanqa measures how good a flatbed document scanner really is.

The public face: a dozen names, each imported when it is first asked for; importing the package
does no work. `qualify` is the main job. Everything it returns is frozen and carries its units in
names or in the catalogue (`scanqa.catalogue.CATALOGUE`).
"""

from __future__ import annotations

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

from scanqa.version import __version__ as __version__

# Our matrices are small: threads of the linear algebra would only wait for each other (twice the
# processor time on two cores). Read when numpy is first imported, which is later than this.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("VIPS_WARNING", "1")  # none of them: `scanqa.scans.vips_words` says why

if TYPE_CHECKING:
    from scanqa import simulate
    from scanqa.codec import read_record, write_record
    from scanqa.model import Measurement, Qualification, Record, Told
    from scanqa.model.compared import Comparison
    from scanqa.model.history import Health
    from scanqa.qualification import qualify
    from scanqa.records.comparison import compare
    from scanqa.records.looking_back import history
    from scanqa.report.pages import write_report
    from scanqa.sheets.pdf import write_sheets
    from scanqa.summary import Summary, summarise

_HOME = {  # where each name lives
    "qualify": "scanqa.qualification",
    "Told": "scanqa.model",
    "Qualification": "scanqa.model",
    "Record": "scanqa.model",
    "Measurement": "scanqa.model",
    "Summary": "scanqa.summary",
    "summarise": "scanqa.summary",
    "read_record": "scanqa.codec",
    "write_record": "scanqa.codec",
    "write_report": "scanqa.report.pages",
    "compare": "scanqa.records.comparison",
    "Comparison": "scanqa.model.compared",
    "history": "scanqa.records.looking_back",
    "Health": "scanqa.model.history",
    "write_sheets": "scanqa.sheets.pdf",
}

__all__ = [
    "Comparison",
    "Health",
    "Measurement",
    "Qualification",
    "Record",
    "Summary",
    "Told",
    "__version__",
    "compare",
    "history",
    "qualify",
    "read_record",
    "simulate",
    "summarise",
    "write_record",
    "write_report",
    "write_sheets",
]


def __getattr__(name: str) -> Any:
    """Import a public name when it is first asked for."""
    if name == "simulate":
        return import_module("scanqa.simulate")
    if name not in _HOME:
        raise AttributeError(f"module 'scanqa' has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
