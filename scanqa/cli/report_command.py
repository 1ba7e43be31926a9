"""``scanqa report``: draw the page of a record again."""

from __future__ import annotations

from pathlib import Path

import click

from scanqa.cli.options import out_option, records_option
from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption


@click.command("report", cls=Command, short_help="Draw the page of a record again.")
@click.argument("number", type=int)
@click.option("--all", "whole", is_flag=True, help="Open every section, for print.")
@out_option
@records_option
def command(number: int, whole: bool, out: Path, records: str | None) -> None:
    """Draw the page of the record of that NUMBER again (see scanqa records list).

    The page has all of its numbers; pictures of the scans themselves are not kept in records.
    """
    from scanqa.model import Qualification
    from scanqa.records import store
    from scanqa.records.database import open_store
    from scanqa.report.index.naming import dated_path
    from scanqa.report.more_pages import write_index
    from scanqa.report.pages import write_report
    from scanqa.words.of_decision import decision_line

    with open_store(records) as engine:
        record = store.read(engine, number)
    if record is None:
        raise BadOption(f"no record {number}; see scanqa records list")
    out.mkdir(parents=True, exist_ok=True)
    path = dated_path(out, record)
    write_report(Qualification(record), path, whole=whole)
    write_index(out)
    click.echo(path)
    click.echo(decision_line(record.scanner, record.decision))
