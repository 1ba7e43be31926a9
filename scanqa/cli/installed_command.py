"""``scanqa installed``: what is there, what is missing, where things lie; text to paste."""

from __future__ import annotations

import platform
import sys
from collections.abc import Iterator
from importlib import metadata
from pathlib import Path

import click

from scanqa.version import __version__

PARTS = (
    "numpy", "scipy", "scikit-image", "matplotlib", "opencv-python-headless", "pyvips",
    "pyvips-binary", "tifffile", "reportlab", "msgspec", "SQLAlchemy", "psycopg",
    "pyarrow", "prometheus-client",
)  # fmt: skip
EXTRAS = {
    "psycopg": "only for records in PostgreSQL: pip install 'scanqa[postgres]'",
    "pyarrow": "only to export Parquet: pip install 'scanqa[parquet]'",
    "prometheus-client": "only to export metrics: pip install 'scanqa[prometheus]'",
}


@click.command("installed", short_help="Show what is there, what is missing, where things lie.")
def command() -> None:
    """Show version, parts, scanners that SANE sees, and where records, scans and reports lie.

    One screen of text, without names of users or passwords: paste it into a report of a wrong
    verdict.
    """
    for line in _lines():
        click.echo(line)


def _lines() -> Iterator[str]:
    python = platform.python_version()
    yield f"scanqa {__version__}, Python {python}, {platform.platform(terse=True)}"
    yield f"program: {_home_hidden(Path(sys.argv[0]))}"
    for name in PARTS:
        try:
            yield f"  {name} {metadata.version(name)}"
        except metadata.PackageNotFoundError:
            yield f"  {name}: missing ({EXTRAS.get(name, 'install scanqa again')})"
    yield from _devices()
    yield from _places()


def _devices() -> Iterator[str]:
    from scanqa.capture.device import list_devices
    from scanqa.errors import ScanqaError

    try:
        found = list_devices()
    except ScanqaError as error:
        yield f"SANE: {error}"
        return
    yield f"SANE: {len(found)} device{'' if len(found) == 1 else 's'} seen"
    for device in found:
        yield f"  {device.name}"


def _places() -> Iterator[str]:
    from scanqa.records.database import shown_url

    yield f"records: {_home_hidden(Path(shown_url()))}"
    yield f"reports: {_home_hidden(Path('reports').absolute())} (--out)"
    yield f"scans of capture: {_home_hidden(Path('scans').absolute())} (--folder)"


def _home_hidden(path: Path) -> str:
    """A path with ~ for the user's home: its name is nobody's business."""
    text = str(path)
    home = str(Path.home())
    return text.replace(home, "~", 1) if home != "/" else text
