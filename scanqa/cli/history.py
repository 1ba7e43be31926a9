"""``scanqa history``: how a scanner fares over months."""

from __future__ import annotations

import re

import click

from scanqa.cli.shared import records_option
from scanqa.errors import BadOption


@click.command("history")
@click.argument("scanner")
@click.option(
    "--limit",
    "limits",
    multiple=True,
    metavar="MEASURE=NUMBER",
    help="Say when a drift will cross this limit; may be repeated.",
)
@click.option("--all", "whole", is_flag=True, help="Name the steady measures too.")
@records_option
def command(scanner: str, limits: tuple[str, ...], whole: bool, records: str | None) -> None:
    """Tell what changed on SCANNER, when, and when a limit will be met."""
    from scanqa.records import store
    from scanqa.records.health import health

    stated = dict(_limit(text) for text in limits)
    with store.open_store(records) as engine:
        checks = store.history(engine, scanner)
        events = store.events(engine, scanner)
    if not checks:
        raise BadOption(f"no record of {scanner}; see scanqa records list")
    result = health(scanner, checks, events, limits=stated)
    click.echo(result.sentence)
    for event in result.events:
        click.echo(f"  {event.at[:10]}  event: {event.words}")
    for series in result.series:
        if whole or series.state in ("changed", "drifting") or series.key[0] in stated:
            place = " ".join(part for part in series.key if part)
            click.echo(f"  {place}: {series.sentence}")


def _limit(text: str) -> tuple[str, float]:
    from scanqa.catalogue import CATALOGUE

    match = re.fullmatch(r"\s*([\w.]+)\s*=\s*(-?\d+(?:\.\d+)?)\s*", text)
    if not match or match[1] not in CATALOGUE:
        raise BadOption(f"--limit {text}: write a measure, '=' and a number")
    return match[1], float(match[2])
