"""``scanqa records``: what is on record, in and out."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import click

from scanqa.cli.checks import UNUSABLE
from scanqa.cli.near_names import Named, hint
from scanqa.cli.options import records_option
from scanqa.errors import BadOption, NotARecord

FILES = ("parquet", "datapackage", "prometheus")
CSV_FIELDS = (
    "record", "scanner", "taken", "name", "direction", "channel", "edge_kind", "dpi", "value",
    "random", "status", "low", "high", "unit", "count", "method_version",
)  # fmt: skip


@click.group("records", cls=Named)
def command() -> None:
    """List, show, export, import or remove qualifications on record."""


@command.command("list")
@click.argument("scanner", required=False)
@records_option
def list_(scanner: str | None, records: str | None) -> None:
    """List the records, of one SCANNER or of all: number, day, scanner, decision."""
    from scanqa.records import store
    from scanqa.records.database import open_store
    from scanqa.records.scanners import all_names
    from scanqa.words.of_decision import decided_word

    with open_store(records) as engine:
        found = store.entries(engine, scanner)
        names = all_names(engine)
    if scanner is not None and not found:
        words = hint(scanner, names, "see scanqa records list")
        raise BadOption(f"no record of {scanner}; {words}")
    for entry in found:
        said = decided_word(entry.decision)
        click.echo(f"{entry.id:6} {entry.taken[:10]} {entry.scanner}: {said}")


@command.command("show")
@click.argument("number", type=int)
@records_option
def show(number: int, records: str | None) -> None:
    """Print the record of that NUMBER as JSON."""
    from scanqa.codec import to_json
    from scanqa.records import store
    from scanqa.records.database import open_store

    with open_store(records) as engine:
        record = store.read(engine, number)
    if record is None:
        raise BadOption(f"no record {number}; see scanqa records list")
    click.echo(to_json(record), nl=False)


@command.command("export")
@click.argument("scanner", required=False)
@click.option(
    "--format",
    "kind",
    type=click.Choice(["jsonl", "csv", *FILES]),
    default="jsonl",
    show_default=True,
    help="Whole records; or their numbers for other programs.",
)
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="FOLDER|FILE",
    help="Where Parquet and data package (folders) or metrics (FILE.prom) go.",
)
@records_option
def export(scanner: str | None, kind: str, to: Path | None, records: str | None) -> None:
    """Write records out: whole as JSON lines, or their numbers.

    To standard output: jsonl, csv. To files: parquet, one for each month of checks (pip install
    'scanqa[parquet]'); datapackage, CSV tables with a Frictionless descriptor; prometheus, the
    state of each scanner for a textfile collector (pip install 'scanqa[prometheus]').
    """
    from scanqa.codec import to_json_line
    from scanqa.records import store
    from scanqa.records.database import open_store

    if kind in FILES:
        from scanqa.cli.export_files import export_files

        export_files(scanner, kind, to, records)
        return
    if to is not None:
        raise BadOption(f"--to: --format {kind} goes to standard output; say > {to}")
    with open_store(records) as engine:
        if kind == "jsonl":
            for record in store.read_all(engine, scanner):
                click.echo(to_json_line(record))
            return
        table = csv.writer(sys.stdout, lineterminator="\n")
        table.writerow(CSV_FIELDS)
        names = dict.fromkeys(entry.scanner for entry in store.entries(engine, scanner))
        for name in names:
            for check in store.history(engine, name):
                for v in check.values:
                    row = {"record": check.record_id, "scanner": name, "taken": check.taken}
                    fields = {f: getattr(v, f) for f in CSV_FIELDS if f not in row}
                    table.writerow([{**row, **fields}[f] for f in CSV_FIELDS])


@command.command("import")
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@records_option
def import_(file: Path, records: str | None) -> None:
    """Add records from a FILE of JSON lines as written by export, or ``-``; known ones are kept."""
    from scanqa.codec import from_stranger
    from scanqa.records import store
    from scanqa.records.database import open_store

    if str(file) != "-" and not file.is_file():
        raise BadOption(f"{file}: no such file; name a file written by scanqa records export")
    text = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
    bad = added = known = 0
    with open_store(records) as engine:
        for number, line in enumerate(filter(bytes.strip, text.split(b"\n")), 1):
            try:
                kept = store.add(engine, from_stranger(line))
            except NotARecord as error:
                click.echo(f"scanqa: {file}, line {number}: {error}; left out", err=True)
                bad += 1
                continue
            added, known = added + (kept.how != "known"), known + (kept.how == "known")
    click.echo(f"{added} added, {known} known already, {bad} left out")
    if bad:
        sys.exit(UNUSABLE)


@command.command("remove")
@click.argument("number", type=int)
@records_option
def remove(number: int, records: str | None) -> None:
    """Forget the record of that NUMBER."""
    from scanqa.records import store
    from scanqa.records.database import open_store

    with open_store(records) as engine:
        if not store.remove(engine, number):
            raise BadOption(f"no record {number}; see scanqa records list")
    click.echo(f"record {number} removed")
