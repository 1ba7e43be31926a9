"""``scanqa demo``: the whole job on two simulated scanners."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from scanqa.cli.checks import DONE
from scanqa.cli.delivery import deliver, progress, told_by_records
from scanqa.cli.options import Delivery


@click.command("demo", short_help="Simulate two scanners with known faults and measure them.")
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
@click.option(
    "--quick", is_flag=True, help="Two blanks and the bed sheet of one scanner: some seconds."
)
@click.option(
    "--only",
    type=click.Choice(["fleet", "job"]),
    help="The page of the fleet alone, or the job of 24 pages, after OUT/heron.json.",
)
def command(out: Path, scans: Path, quiet: bool, quick: bool, only: str | None) -> None:
    """Simulate two scanners with known faults, measure them and write their reports.

    The Tarn Valley Orchard Society (invented) digitises nursery catalogues with heron, an old
    scanner with a cold-cathode lamp, and wren, a newer one with LEDs. Heron has been checked each
    month for two years; those checks come with scanqa, simulated and measured beforehand. Ten more
    scanners of the Society's partners have checks that are drawn from these, for the page of the
    fleet. Records go to files of their own in the folder for the scans.
    """
    if quick:
        _few(out, scans, quiet=quiet)
        return
    if only == "fleet":
        _fleet(scans / "fleet.sqlite", out)
        return
    if only == "job":
        _job(scans, out, _one_check(scans / "job-records.sqlite", out / "heron.json"))
        return
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
        delivery = Delivery(out, str(out / f"{name}.json"), keep=True, records=records, quiet=quiet)
        told = told_by_records(told, name, delivery)
        with progress(quiet=quiet) as shown:
            found = qualify(files, scanner=name, told=told, progress=shown)
        status = max(status, deliver(found, delivery))
    _fleet(scans / "fleet.sqlite", out)
    _job(scans, out, records)
    _look_back(records, out)  # ends with the path of heron's report
    sys.exit(status)


def _few(out: Path, scans: Path, *, quiet: bool) -> None:
    """Heron's blanks and bed sheet, simulated and measured: the smallest whole way to a report."""
    from scanqa.demo import DEMO_LIGHT, DEMO_PRINT, write_few
    from scanqa.model import Told
    from scanqa.qualification import qualify

    told = Told(print_label=DEMO_PRINT, paper="office", conditions={"light": DEMO_LIGHT["heron"]})
    with progress(quiet=quiet) as shown:
        found = qualify(write_few(scans), scanner="heron", told=told, progress=shown)
    status = deliver(found, Delivery(out, None, keep=False, records=None, quiet=quiet))
    click.echo(out / "heron.html")
    sys.exit(status)


def _two_years(path: Path) -> str:
    """Heron's monthly checks and its cleaning in a new database; its URL."""
    from datetime import date

    from scanqa.demo import CLEANED, DIRTY_IN, checked_months, demo_units, month_day
    from scanqa.records import store
    from scanqa.records.database import open_store
    from scanqa.records.scanners import keep_identity

    path.parent.mkdir(parents=True, exist_ok=True)
    for old in path.parent.glob(f"{path.name}*"):
        old.unlink()
    url, today = f"sqlite:///{path}", date.today()
    with open_store(url) as engine:
        for unit in demo_units(today=today):
            keep_identity(engine, unit)
        for record in checked_months(today=today):
            store.add(engine, record)
        store.add_event(engine, "heron", month_day(DIRTY_IN, 20, today=today), CLEANED)
    return url


def _fleet(path: Path, out: Path) -> None:
    """Twelve scanners in a new database, and the page over all of them.

    The newest checks of heron and wren are those of the demo, where their files are in `out`.
    """
    from datetime import date

    from scanqa.codec import read_record
    from scanqa.demo_fleet import fleet_events, fleet_records, fleet_units
    from scanqa.records import store
    from scanqa.records.database import open_store
    from scanqa.records.fleet.overlook import fleet
    from scanqa.records.scanners import keep_identity
    from scanqa.report.fleet.fleet_page import write_fleet
    from scanqa.report.index.naming import fleet_path
    from scanqa.words.of_fleet import fleet_title

    today = date.today()
    url = _two_years(path)
    with open_store(url) as engine:
        for unit in fleet_units(today=today):
            keep_identity(engine, unit)
        for record in fleet_records(today=today):
            store.add(engine, record)
        for name in ("heron", "wren"):
            if (out / f"{name}.json").exists():
                store.add(engine, read_record(out / f"{name}.json"))
        for event in fleet_events(today=today):
            store.add_event(engine, event.scanner, event.at, event.words)
        found = fleet(engine, today=today)
    page = fleet_path(out)
    write_fleet(found, page)
    click.echo(f"{fleet_title(found)}.")
    click.echo(page)


def _one_check(path: Path, record: Path) -> str:
    """A new database that holds one check, if its file is there; its URL."""
    from scanqa.codec import read_record
    from scanqa.records import store
    from scanqa.records.database import open_store

    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)
    url = f"sqlite:///{path}"
    if record.exists():
        with open_store(url) as engine:
            store.add(engine, read_record(record))
    return url


def _job(scans: Path, out: Path, records: str) -> None:
    """A job of 24 pages on heron, watched as it comes, and its record."""
    from scanqa.cli.job_record_files import write_record
    from scanqa.cli.job_telling import Following, Teller, check_before
    from scanqa.demo_job import play_job
    from scanqa.watch.follow import watch
    from scanqa.watch.journal import open_journal, place_of

    folder, state = scans / "heron-job", scans / "state"
    with progress() as shown:
        play_job(folder, progress=shown)
    place_of(folder, "heron", state).unlink(missing_ok=True)
    teller = Teller(
        folder,
        "heron",
        check_before("heron", records),
        Following(follow=False, idle=None, bell=False),
        str(out / "heron-job.json"),
        out / "heron-job.html",
        lambda: False,
    )
    with open_journal(folder, "heron", state) as journal:
        last = watch(folder, journal, tell=teller, follow=False)
    teller.end(last)
    write_record(folder, "heron", None, (14, 2000), out, records, state)


def _look_back(records: str, out: Path) -> None:
    """Heron's history and heron against wren; last the path of heron's report."""
    from scanqa.records import store
    from scanqa.records.comparison import compare
    from scanqa.records.database import open_store
    from scanqa.records.looking_back import past_of
    from scanqa.report.index.links import INDEX
    from scanqa.report.more_pages import write_comparison, write_history
    from scanqa.words.of_comparison import comparison_sentence
    from scanqa.words.of_history import lamp_words

    with open_store(records) as engine:
        past = past_of(engine, "heron")
        newest = [store.entries(engine, name)[-1].id for name in ("heron", "wren")]
        sides = [[found] if (found := store.read(engine, i)) else [] for i in newest]
    write_history(past, out / "heron-history.html")
    comparison = compare(sides[0], sides[1])
    write_comparison(comparison, out / "heron-wren.html", sides=(sides[0][0], sides[1][0]))
    if past.health.lamp is not None:
        rule = lamp_words(past.health.lamp)
        click.echo(f"heron's lamp: {rule.verdict}. {rule.sentence}")
    click.echo(comparison_sentence(comparison))
    for page in ("heron-history.html", "heron-wren.html", INDEX, "heron.html"):
        click.echo(out / page)
