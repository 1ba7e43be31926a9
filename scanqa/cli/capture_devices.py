"""Devices for ``scanqa capture``: what SANE finds and offers, and how fast it scans."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.catalogue.sizes import TURN_S
from scanqa.errors import BadOption, ScanqaError

if TYPE_CHECKING:
    from scanqa.capture.device import Settings
    from scanqa.capture.one_scan import Taken
    from scanqa.capture.session import Entry
    from scanqa.model import Job

PACE_DPI = (150, 200, 300, 400, 600)  # what books are scanned at


NONE_FOUND = "SANE finds no scanner; check cable, power and driver, or use --from-folder"


def list_all(device: str | None, dpi: float) -> None:
    """Print all devices, or what one offers and how it would be scanned with."""
    from scanqa.capture.device import list_devices, read_options
    from scanqa.capture.driver_options import LOOKS, as_found, asking_for
    from scanqa.capture.settings import choose

    if device is not None:
        offered = read_options(device)
        for option in offered.values():
            if option.active and (option.words or option.value):
                click.echo(f"{option.name:<24} {option.words}   [{option.value}]")
        try:
            settings = choose(device, dpi=dpi)
        except ScanqaError as error:
            click.echo(f"\nCannot scan with --dpi {dpi:g}: {error}")
            return
        click.echo("\nWould scan with: " + named(settings))
        for note in settings.notes:
            click.echo(f"Note: {note}.")
        for name, value, why in as_found(offered):
            click.echo(f"Left as it is: {name} {value} ({why}).")
        looks = [look for look in LOOKS if asking_for(offered, look)]
        click.echo(f"Looks that this driver gives: {', '.join(looks) or 'none that are known'}.")
        return
    devices = list_devices()
    if not devices:
        raise BadOption(NONE_FOUND)
    for found in devices:
        click.echo(f"{found.name}   {found.vendor} {found.model} ({found.kind})")


def named(settings: Settings) -> str:
    """Settings as a line."""
    return ", ".join(f"{name} {value}" for name, value in settings.values)


def the_device(device: str | None) -> str:
    """The device named, or the only one there is."""
    from scanqa.capture.device import check_name, list_devices

    if device is not None:
        return check_name(device)
    devices = list_devices()
    if not devices:
        raise BadOption(NONE_FOUND)
    if len(devices) > 1:
        names = ", ".join(found.name for found in devices)
        raise BadOption(f"several scanners are there: {names}; choose with --device")
    return devices[0].name


def time_scans(
    device: str, extra: Mapping[str, str], folder: Path, job: Job | None, *, stall_s: float
) -> None:
    """Time a scan of the whole bed at each dpi on offer, in colour and in grey.

    One that fails is made once more; when it fails again, that is the end.
    """
    from scanqa.capture.device import read_options
    from scanqa.capture.one_scan import scan_to
    from scanqa.capture.session import entry_of
    from scanqa.capture.settings import choose, offers_dpi
    from scanqa.capture.timing import paces, table

    offered = read_options(device)
    path = folder / "pace.tif"
    turn_s, pages = (job.turn_s, job.pages) if job else (TURN_S, None)
    entries: list[Entry] = []
    try:
        for dpi in (dpi for dpi in PACE_DPI if offers_dpi(offered, dpi)):
            for grey in (False, True):
                settings = choose(device, dpi=dpi, extra=extra, grey=grey)
                click.echo(f"{dpi} dpi, {settings.mode or 'as it is'} …", err=True)
                taken = _once_more_if_it_fails(partial(scan_to, path, settings, stall_s=stall_s))
                entries.append(entry_of(f"pace-{len(entries)}", taken, facts={}, notes=()))
                path.unlink()
    finally:  # what was timed is shown, however it ended
        if entries:
            click.echo(table(paces(entries), pages=pages, turn_s=turn_s))


def _once_more_if_it_fails(scan: Callable[[], Taken]) -> Taken:
    from scanqa.capture.faults import ScanFailed

    try:
        return scan()
    except ScanFailed as error:
        click.echo(f"not timed: {error.why}; once more …", err=True)
        return scan()
