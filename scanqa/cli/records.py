"""``scanqa records``: what is on record, in and out."""

from __future__ import annotations

import csv
import json
import sys
from pathlib import Path

import click

from scanqa.cli.shared import UNUSABLE, records_option
from scanqa.errors import BadOption

CSV_FIELDS = (
    "record", "scanner", "taken", "name", "direction", "channel", "edge_kind", "dpi", "value",
    "uncertainty", "unit", "count", "at_least", "method_version",
)  # fmt: skip


@click.group("records")
def command() -> None:
    """List, show, export, import or remove qualifications on record."""


@command.command("list")
@click.argument("scanner", required=False)
@records_option
def list_(scanner: str | None, records: str | None) -> None:
    """List the records, of one SCANNER or of all: number, scanner, when scanned, version."""
    from scanqa.records import store

    with store.open_store(records) as engine:
        for entry in store.entries(engine, scanner):
            click.echo(f"{entry.id:6} {entry.taken[:16]} {entry.tool_version:8} {entry.scanner}")


@command.command("show")
@click.argument("number", type=int)
@records_option
def show(number: int, records: str | None) -> None:
    """Print the record of that NUMBER as JSON."""
    from scanqa.records import store

    with store.open_store(records) as engine:
        document = store.document(engine, number)
    if document is None:
        raise BadOption(f"no record {number}; see scanqa records list")
    click.echo(json.dumps(document, ensure_ascii=False, indent=1))


@command.command("export")
@click.argument("scanner", required=False)
@click.option("--format", "kind", type=click.Choice(["jsonl", "csv"]), default="jsonl")
@records_option
def export(scanner: str | None, kind: str, records: str | None) -> None:
    """Write records to standard output: whole as JSON lines, or their numbers as CSV."""
    from scanqa.records import store

    with store.open_store(records) as engine:
        if kind == "jsonl":
            for document in store.documents(engine, scanner):
                click.echo(json.dumps(document, ensure_ascii=False))
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
    from scanqa.records import store
    from scanqa.report.document import check

    if str(file) != "-" and not file.is_file():
        raise BadOption(f"{file}: no such file; name a file written by scanqa records export")
    text = sys.stdin.read() if str(file) == "-" else file.read_text("utf-8", errors="replace")
    bad = added = known = 0
    with store.open_store(records) as engine:
        for number, line in enumerate(filter(str.strip, text.splitlines()), 1):
            why = check(line)
            if why is not None:
                click.echo(f"scanqa: {file}, line {number}: {why}; left out", err=True)
                bad += 1
                continue
            _, changed = store.add(engine, json.loads(line))
            added, known = added + changed, known + (not changed)
    click.echo(f"{added} added, {known} known already, {bad} left out")
    if bad:
        sys.exit(UNUSABLE)


@command.command("remove")
@click.argument("number", type=int)
@records_option
def remove(number: int, records: str | None) -> None:
    """Forget the record of that NUMBER."""
    from scanqa.records import store

    with store.open_store(records) as engine:
        if not store.remove(engine, number):
            raise BadOption(f"no record {number}; see scanqa records list")
    click.echo(f"record {number} removed")
