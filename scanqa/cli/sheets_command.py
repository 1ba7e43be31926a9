"""``scanqa sheets``: write the printable sheets."""

from __future__ import annotations

from pathlib import Path

import click

from scanqa.cli.checks import PAPERS


@click.command("sheets")
@click.option(
    "--size",
    "sizes",
    type=click.Choice(PAPERS),
    multiple=True,
    help="Size of the paper to draw for; may be repeated. Default: all.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("targets"),
    show_default=True,
    help="Folder to write the PDFs to.",
)
def command(sizes: tuple[str, ...], out: Path) -> None:
    """Write the printable sheets as PDF."""
    from scanqa.sheets.pdf import write_sheets

    for path in write_sheets(sizes or PAPERS, out):
        click.echo(path)
