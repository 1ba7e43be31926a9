"""``scanqa history``: how a scanner fares over months."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.cli.checks import file_name
from scanqa.cli.near_names import hint, no_measure
from scanqa.cli.options import out_option, records_option
from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model.history import Health, Series


@click.command("history", cls=Command, short_help="Tell what changed on a scanner, and since when.")
@click.argument("scanner")
@click.option(
    "--limit",
    "limits",
    multiple=True,
    metavar="MEASURE=NUMBER",
    help="Say when a drift will cross this limit; may be repeated.",
)
@click.option("--since", metavar="DATE", help="Look only at checks from this date on.")
@click.option("--all", "shown", flag_value="all", help="Name the steady measures too.")
@click.option("-q", "--quiet", "shown", flag_value="answer", help="Print the answer alone.")
@click.option("--report", is_flag=True, help="Write a page of it, NAME-history.html.")
@out_option
@records_option
def command(
    scanner: str,
    limits: tuple[str, ...],
    since: str | None,
    shown: str | None,
    report: bool,
    out: Path,
    records: str | None,
) -> None:
    """Tell what changed on SCANNER, when, and when a limit will be met.

    The newest 1000 checks are looked at; --since DATE chooses others.
    """
    from scanqa.records.database import open_store
    from scanqa.records.looking_back import MOST_CHECKS, past_of
    from scanqa.records.scanners import all_names

    stated = dict(_limit(text) for text in limits)
    file_name(scanner)
    newest = MOST_CHECKS if since is None else None
    with open_store(records) as engine:
        past = past_of(engine, scanner, limits=stated, newest=newest, since=since)
        names = all_names(engine)
    found = past.health
    if not found.checks:
        words = hint(scanner, names, "see scanqa records list")
        raise BadOption(f"no record of {scanner}; {words}")
    _tell(found, stated, shown)
    if report:
        from scanqa.report.index.naming import history_path
        from scanqa.report.more_pages import write_history

        page = history_path(out, scanner)
        write_history(past, page)
        click.echo(page)


def _tell(health: Health, stated: dict[str, float], shown: str | None) -> None:
    from scanqa.words.of_history import (
        effect_sentence,
        health_sentence,
        lamp_sign_words,
        lamp_words,
        series_sentence,
        streak_words,
    )

    click.echo(health_sentence(health))
    if shown == "answer":
        return
    if health.checks < health.on_record:
        click.echo(f"  the newest {health.checks} of {health.on_record} checks on record")
    if health.lamp is not None and any(s.key.name == "noise.light_index" for s in health.series):
        rule = lamp_words(health.lamp)
        click.echo(f"  lamp: {rule.verdict}. {rule.sentence}")
        for what, words in map(lamp_sign_words, health.lamp.signs):
            click.echo(f"    {what}: {words}")
        for words in filter(None, (rule.action, rule.caution)):
            click.echo(f"    {words}")
    for effect in health.effects:
        click.echo(f"  event {effect_sentence(effect)}")
    for streak in health.streaks:
        since = "since the first check" if streak.since_start else f"since {streak.first[:10]}"
        gone = f", gone {streak.gone[:10]}" if streak.gone else ""
        click.echo(f"  {streak_words(streak)} {since}{gone} ({streak.contrast_percent:.1f} %)")
    for series in health.series:
        moved = series.state in ("changed", "drifting") or series.method is not None
        if shown == "all" or moved or series.key.name in stated:
            click.echo(f"  {_place(series)}: {series_sentence(series)}")


def _place(series: Series) -> str:
    words = " ".join(part for part in series.key[:4] if part)
    return f"{words} at {series.key.dpi} dpi" if series.key.dpi else words


def _limit(text: str) -> tuple[str, float]:
    from scanqa.catalogue import CATALOGUE

    match = re.fullmatch(r"\s*([\w.]+)\s*=\s*(-?\d+(?:\.\d+)?)\s*", text)
    if not match:
        raise BadOption(f"--limit {text}: write a measure, '=' and a number")
    if match[1] not in CATALOGUE:
        raise BadOption(f"--limit {text}: {no_measure(match[1])}")
    return match[1], float(match[2])
