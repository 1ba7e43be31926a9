"""``scanqa demo``: the whole job on two simulated scanners."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from scanqa.cli.shared import DONE, deliver, progress


@click.command("demo")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("reports"),
    show_default=True,
    help="Folder for the reports.",
)
@click.option(
    "--scans",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("demo-scans"),
    show_default=True,
    help="Folder for the simulated scans.",
)
def command(out: Path, scans: Path) -> None:
    """Simulate two scanners with known faults, measure them and write their reports.

    The Tarn Valley Orchard Society (invented) digitises nursery catalogues with heron, an old
    scanner with a cold-cathode lamp, and wren, a newer one with LEDs.
    """
    from scanqa.demo import write_demo
    from scanqa.qualify import Options, qualify

    with progress() as told:
        written = write_demo(scans, progress=told)
    status = DONE
    for name, files in written.items():
        options = Options(book_edge="left", conditions={"light": DEMO_LIGHT[name]})
        with progress() as told:
            record = qualify(files, scanner=name, options=options, progress=told)
        json_to = str(out / f"{name}.json")
        status = max(status, deliver(record, out / f"{name}.html", json_to, []))
    sys.exit(status)


DEMO_LIGHT = {"heron": "cold-cathode lamp (simulated)", "wren": "LED (simulated)"}
