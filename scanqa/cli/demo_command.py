"""``scanqa demo``: the whole job on two simulated scanners."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from scanqa.cli.checks import DONE
from scanqa.cli.delivery import deliver, progress
from scanqa.cli.options import Delivery


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
@click.option("-q", "--quiet", is_flag=True, help="Print decisions and paths alone.")
def command(out: Path, scans: Path, quiet: bool) -> None:
    """Simulate two scanners with known faults, measure them and write their reports.

    The Tarn Valley Orchard Society (invented) digitises nursery catalogues with heron, an old
    scanner with a cold-cathode lamp, and wren, a newer one with LEDs. Heron has been checked each
    month for two years; those checks come with scanqa, simulated and measured beforehand. Records
    go to a file of their own in the folder for the scans.
    """
    from scanqa.demo import DEMO_LIGHT, DEMO_PRINT, write_demo
    from scanqa.model import Told
    from scanqa.qualification import qualify

    with progress(quiet=quiet) as shown:
        written = write_demo(scans, progress=shown)
    records = _two_years(scans / "records.sqlite")
    status = DONE
    for name, files in written.items():
        told = Told(
            book_edge="left",
            print_label=DEMO_PRINT,
            paper="office",
            card_paper="photo",
            conditions={"light": DEMO_LIGHT[name]},
        )
        with progress(quiet=quiet) as shown:
            found = qualify(files, scanner=name, told=told, progress=shown)
        delivery = Delivery(out, str(out / f"{name}.json"), keep=True, records=records, quiet=quiet)
        status = max(status, deliver(found, delivery))
    _look_back(records, out)
    sys.exit(status)


def _two_years(path: Path) -> str:
    """Heron's monthly checks and its cleaning in a new database; its URL."""
    from datetime import date

    from scanqa.demo import CLEANED, DIRTY_IN, checked_months, month_day
    from scanqa.records import store
    from scanqa.records.database import open_store

    for old in path.parent.glob(f"{path.name}*"):
        old.unlink()
    url, today = f"sqlite:///{path}", date.today()
    with open_store(url) as engine:
        for record in checked_months(today=today):
            store.add(engine, record)
        store.add_event(engine, "heron", month_day(DIRTY_IN, 20, today=today), CLEANED)
    return url


def _look_back(records: str, out: Path) -> None:
    """Heron's history and heron against wren; last the path of heron's report."""
    from scanqa.model.history import Past
    from scanqa.records import store
    from scanqa.records.comparison import compare
    from scanqa.records.database import open_store
    from scanqa.records.looking_back import health_of
    from scanqa.report.more_pages import INDEX, write_comparison, write_history
    from scanqa.words.of_comparison import comparison_sentence
    from scanqa.words.of_history import lamp_words

    with open_store(records) as engine:
        past = Past(health_of(engine, "heron"), None)
        newest = [store.entries(engine, name)[-1].id for name in ("heron", "wren")]
        sides = [[found] if (found := store.read(engine, i)) else [] for i in newest]
    write_history(past, out / "heron-history.html")
    comparison = compare(sides[0], sides[1])
    write_comparison(comparison, out / "heron-wren.html")
    if past.health.lamp is not None:
        rule = lamp_words(past.health.lamp)
        click.echo(f"heron's lamp: {rule.verdict}. {rule.sentence}")
    click.echo(comparison_sentence(comparison))
    for page in ("heron-history.html", "heron-wren.html", INDEX, "heron.html"):
        click.echo(out / page)
