"""``scanqa capture``: from the glass to the report in one sitting."""

from __future__ import annotations

import signal
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import click

from scanqa.catalogue.sizes import TURN_S
from scanqa.cli.capture_devices import list_all, named, the_device, time_scans
from scanqa.cli.checks import file_name
from scanqa.cli.delivery import deliver, progress, told_by_records
from scanqa.cli.option_groups import group
from scanqa.cli.options import Delivery, Known, delivery_options, known_options
from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption, ScanqaError

if TYPE_CHECKING:
    from scanqa.capture.device import Settings
    from scanqa.capture.driver_options import Look
    from scanqa.capture.guide import Check
    from scanqa.capture.session import Session
    from scanqa.capture.sources import Source
    from scanqa.capture.steps import Step
    from scanqa.model import Identity, Told

INTERRUPTED = 130  # 128 + SIGINT, as shells have it


@dataclass(frozen=True, slots=True)
class Sitting:
    """Where scans come from and go, and how they are made."""

    device: str | None
    plan_name: str | None
    from_folder: Path | None
    folder: Path | None
    dpi: float
    pairs: tuple[str, ...]
    timeout: float
    looks: tuple[Look, ...]
    lamp_wait: float

    @property
    def extra(self) -> dict[str, str]:
        """Options of the device itself."""
        return dict(_pair(text) for text in self.pairs)

    def scans(self, scanner: str) -> Path:
        """The folder for the scans, made if it is not there."""
        folder = self.from_folder or self.folder or Path("scans") / file_name(scanner)
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise BadOption(f"--folder {folder}: cannot be made ({error.strerror})") from error
        return folder


sitting_options = group(
    "sitting",
    Sitting,
    click.option("--device", help="Its name in SANE, if several are found; see --list."),
    click.option("--blanks", "plan_name", flag_value="blanks", help="The two blanks alone."),
    click.option(
        "--full",
        "plan_name",
        flag_value="full",
        help="Blanks, dark, bed sheet turned, edge card, strips, ramp, open book, back print. The "
        "default.",
    ),
    click.option(
        "--from-folder",
        type=click.Path(path_type=Path, file_okay=False, exists=True),
        help="Take the scans that other software saves in this folder.",
    ),
    click.option(
        "--folder",
        type=click.Path(path_type=Path, file_okay=False),
        help="Folder for the scans.  [default: scans/NAME]",
    ),
    click.option("--dpi", type=float, default=300, show_default=True, help="Samples per inch."),
    click.option(
        "--set",
        "pairs",
        multiple=True,
        metavar="NAME=VALUE",
        help="Set an option of the device itself, as --list shows it.",
    ),
    click.option(
        "--timeout",
        type=click.FloatRange(min=1),
        default=180,
        show_default=True,
        help="Give a scan up when nothing came for so many seconds.",
    ),
    click.option(
        "--look",
        "looks",
        multiple=True,
        type=click.Choice(["dark-frame", "white-strip", "uncalibrated"]),
        help="Ask for a look that only some drivers give: with the lamp off, at the strip to which "
        "it calibrates, without calibration. What the carriage does is told first.",
    ),
    click.option(
        "--lamp-wait",
        type=click.FloatRange(min=0, max=3600),
        default=300,
        show_default=True,
        help="Longest wait in seconds, by short scans, until the light rests; 0: none.",
    ),
    heading="How it is scanned",
)


@click.command(
    "capture", cls=Command, short_help="Guide through the scans at a SANE scanner, then report."
)
@click.option("--scanner", help="Name of the scanner; scans and report are named after it.")
@click.option(
    "--list",
    "listed",
    is_flag=True,
    help="Show the devices; with --device, its options and the settings that would be used.",
)
@click.option("--pace", "paced", is_flag=True, help="Time one scan at each dpi and mode.")
@sitting_options
@known_options
@delivery_options
def command(
    scanner: str | None,
    listed: bool,
    paced: bool,
    sitting: Sitting,
    known: Known,
    delivery: Delivery,
) -> None:
    """Guide through the scans of an arrival, scan by SANE, and write the report.

    Says what to lay on the glass, waits for Enter (or a foot switch), scans, looks at the scan and
    says whether to scan again. Stopped with Ctrl-C or q, the same command goes on from there.
    """
    if listed:
        list_all(sitting.device, sitting.dpi)
        return
    if scanner is None:
        raise BadOption("give the scanner a name with --scanner")
    file_name(scanner)
    delivery.check()
    told = known.told({})
    if told.curve is not None:
        _read_curve(told.curve)
    folder = sitting.scans(scanner)
    with _stopping_at_signals():
        try:
            if paced:
                time_scans(
                    the_device(sitting.device),
                    sitting.extra,
                    folder,
                    told.job,
                    stall_s=sitting.timeout,
                )
                return
            walk = _by_device if sitting.from_folder is None else _by_folder
            session = walk(scanner, folder, sitting, told)
            status = _report(session, folder, told, delivery)
        except KeyboardInterrupt:
            click.echo(f"\nStopped. Finished scans are kept in {folder}; the same command goes on.")
            sys.exit(INTERRUPTED)
    sys.exit(status)


# ---------------------------------------------------------------------------- the sitting


def _by_device(scanner: str, folder: Path, sitting: Sitting, told: Told) -> Session:
    from scanqa.capture.device import read_options
    from scanqa.capture.one_scan import sweep
    from scanqa.capture.settings import choose, highest_dpi
    from scanqa.capture.sources import DeviceSource
    from scanqa.capture.steps import BY_DRIVER, fitting

    device = the_device(sitting.device)
    usual = choose(device, dpi=sitting.dpi, extra=sitting.extra)
    known: dict[str, Settings] = {"": usual}
    by_driver = tuple(step for step in BY_DRIVER if step.look in sitting.looks)
    for step in by_driver:
        known[step.id] = choose(
            device, dpi=sitting.dpi, extra=sitting.extra, look=step.look or None
        )

    def settings(step: Step) -> Settings:
        if step.highest_dpi and step.id not in known:
            known[step.id] = choose(device, dpi=None, extra=sitting.extra, middle=True)
        return known.get(step.id, usual)

    plan = (*fitting(_plan(sitting.plan_name), usual.size_mm), *by_driver)
    if highest_dpi(read_options(device, usual.values)) <= sitting.dpi:
        plan = tuple(step for step in plan if not step.highest_dpi)
    click.echo(f"{device}: {named(usual)}")
    sweep(folder)
    source = DeviceSource(folder, settings, stall_s=sitting.timeout, lamp_s=sitting.lamp_wait)
    return _walk(scanner, folder, plan, source, _check(told))


def _by_folder(scanner: str, folder: Path, sitting: Sitting, told: Told) -> Session:
    from scanqa.capture.session import load
    from scanqa.capture.sources import FolderSource

    source = FolderSource(folder)
    source.mark_used(tuple(entry.file for entry in load(folder, scanner).entries))
    return _walk(scanner, folder, _plan(sitting.plan_name), source, _check(told))


def _walk(
    scanner: str, folder: Path, plan: tuple[Step, ...], source: Source, check: Check
) -> Session:
    from scanqa.capture.desk import Terminal
    from scanqa.capture.guide import Stopped, Walk, walk
    from scanqa.capture.session import changed, load

    session = load(folder, scanner)
    for step, words in changed(folder, session).items():
        click.echo(f"{words}: {step} is to be scanned again.")
        session = session.without(step)
    done = [step.id for step in plan if session.entry(step.id)]
    if done:
        click.echo(f"Going on; already there: {', '.join(done)}.")
    try:
        session = walk(Walk(plan, folder, source, check, Terminal()), session)
    except Stopped:
        raise KeyboardInterrupt from None
    left = [step.id for step in plan if not session.entry(step.id)]
    if left:
        click.echo(f"Left out: {', '.join(left)}. The same command asks for them again.")
    return session


def _plan(name: str | None) -> tuple[Step, ...]:
    from scanqa.capture.steps import BLANKS, FULL

    return BLANKS if name == "blanks" else FULL


def _check(told: Told) -> Check:
    from scanqa.cli.capture_check import look

    return lambda step, taken, session: look(step, taken, session, dpi=told.dpi, curve=told.curve)


def _report(session: Session, folder: Path, told: Told, delivery: Delivery) -> int:
    """Measure the scans of a session, deliver and keep the record; the exit status."""
    from scanqa.capture.steps import BY_DRIVER, FULL
    from scanqa.capture.timing import paces, table
    from scanqa.locate import NAMED
    from scanqa.qualification import qualify

    if not session.entries:
        raise BadOption("no scans were made; nothing to measure")
    order = {step.id: number for number, step in enumerate((*FULL, *BY_DRIVER))}
    entries = sorted(session.entries, key=lambda entry: order.get(entry.step, len(order)))
    role_of = {step.id: step.role for step in (*FULL, *BY_DRIVER)}
    found = paces(entries)
    turn_s = told.job.turn_s if told.job else TURN_S
    if found:
        click.echo("\n" + table(found, turn_s=turn_s) + "\n", err=delivery.json_to == "-")
    named = {
        folder / entry.file: role_of[entry.step]
        for entry in entries
        if entry.step in role_of
        and (
            role_of[entry.step] in ("claim", *NAMED)
            or entry.facts.get("role") != role_of[entry.step]
        )
    }
    with progress(quiet=delivery.quiet) as shown:
        made = qualify(
            [folder / entry.file for entry in entries],
            scanner=session.scanner,
            told=told_by_records(
                replace(told, roles=named, identity=_unit(session)), session.scanner, delivery
            ),
            progress=shown,
        )
    return deliver(made, delivery)


def _unit(session: Session) -> Identity | None:
    """Make and model as SANE says them; None where a folder was filled, or it does not say."""
    from scanqa.capture.device import list_devices
    from scanqa.model import Identity

    names = {entry.device for entry in session.entries if entry.device}
    if len(names) != 1:
        return None
    (name,) = names
    try:
        found = [each for each in list_devices() if each.name == name]
    except ScanqaError:  # the scans are there; who made the scanner can be noted by hand
        return None
    if not found:
        return None
    driver = f"SANE {name.partition(':')[0]}"
    return Identity(session.scanner, make=found[0].vendor, model=found[0].model, driver=driver)


# ------------------------------------------------------------------------ devices and pace


def _read_curve(curve: str) -> None:
    """Refuse a curve that cannot be used now, not behind the first scan."""
    import numpy as np

    from scanqa.scans.array import ArrayScan
    from scanqa.scans.linear import linear

    linear(ArrayScan(np.zeros((1, 1, 3), np.uint8)), curve=curve)


def _pair(text: str) -> tuple[str, str]:
    name, sign, value = text.partition("=")
    if not sign or not name or not value:
        raise BadOption(f"--set {text}: write NAME=VALUE")
    return name, value


@contextmanager
def _stopping_at_signals() -> Iterator[None]:
    """A hang-up or a request to end stops the scanner as Ctrl-C does."""

    def stop(number: int, frame: FrameType | None) -> None:
        raise KeyboardInterrupt

    before = {which: signal.signal(which, stop) for which in (signal.SIGTERM, signal.SIGHUP)}
    try:
        yield
    finally:
        for which, handler in before.items():
            signal.signal(which, handler)
