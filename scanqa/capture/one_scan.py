"""One scan: ``scanimage`` as a child process, into a passing name, checked, then renamed.

A file bears its final name only when every pixel of it was read back and size, depth and dpi are
those asked for: ``scanimage`` ends with status 0 although the disk is full, the device sent
nothing, or the dpi was changed, and leaves a part of a file when it is terminated. The child runs
in a process group of its own, is asked to stop by SIGINT (the driver then brings the carriage
home), and what is left of the group is killed when the scan is over, however it ended.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import signal
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from scanqa.capture.describe import describe
from scanqa.capture.device import Settings, arguments, plain_words, program, refuse_rounded
from scanqa.capture.driver_options import kept_min, numbers
from scanqa.capture.faults import DISK_FULL, ScanFailed, failure
from scanqa.errors import UnreadableScan
from scanqa.model import MM_PER_INCH, Driver, Overview, Pixels, Window
from scanqa.scans.open import FileScan, open_scan
from scanqa.scans.overview import overview

STALL_S = 180.0  # lamps may warm up for a minute or two before the first line
GRACE_S = 8.0  # for a carriage to come home
POLL_S = 0.05
KEPT_BYTES = 200_000  # of what the driver says
SIZE_TOLERANCE = 0.02  # of each side: drivers round an area to whole blocks
DPI_TOLERANCE = 0.005
NEARLY_FULL = 4_000_000  # bytes: less than this free after a failure is a full disk
LEAST_BYTES = 1000  # a TIFF with tags and no pixels has a few hundred
SUFFIX = ".part"

Progress = Callable[[float | None, float], None]  # share done if known, seconds since the start


@dataclass(frozen=True, slots=True)
class Taken:
    """A scan that is whole, under its final name.

    Attributes
    ----------
    seconds : float or None
        From the start of the scan to its end, None if it was not made here.
    said : tuple of str
        What the driver said on standard error, progress left out.
    true_bits : int or None
        Bits of a sample that carry anything, None if the picture cannot tell.
    """

    path: Path
    scan: FileScan
    overview: Overview
    started: str
    seconds: float | None = None
    settings: Settings | None = None
    said: tuple[str, ...] = ()
    true_bits: int | None = None
    notes: tuple[str, ...] = ()


def scan_to(
    path: Path,
    settings: Settings,
    *,
    progress: Progress = lambda share, seconds: None,
    stall_s: float = STALL_S,
    lamp: tuple[tuple[float, float], ...] = (),
) -> Taken:
    """Scan into a file; a file of that name is replaced by a scan that is whole, or not at all.

    Parameters
    ----------
    path : Path
        Final name, ending in ``.tif``.
    settings : Settings
        From `scanqa.capture.settings.choose`.
    progress : callable
        Told the share done (or None) and the seconds since the start, some times a second.
    stall_s : float
        The scan is given up when nothing comes for so long.
    lamp : seconds and levels
        What was seen of the light before, kept in the file.

    Raises
    ------
    ScanFailed
        In words; nothing is left behind. KeyboardInterrupt stops the scanner and passes on.
    """
    _refuse_full(path.parent, settings)
    passing = path.with_name(f".{path.name}{SUFFIX}")
    passing.unlink(missing_ok=True)
    started = datetime.now(UTC).isoformat(timespec="seconds")
    begun = time.monotonic()
    try:
        status, said = _run(passing, settings, progress, stall_s)
        seconds = round(time.monotonic() - begun, 2)
        if status != 0:
            raise failure(status, said)
        refuse_rounded(said)
        _describe(passing, settings, seconds, started, lamp)
        seen = _checked(passing, settings)
        passing.replace(path)
    except (ScanFailed, OSError) as error:
        if _free(path.parent) < NEARLY_FULL:
            raise ScanFailed(*DISK_FULL) from error
        if isinstance(error, OSError):
            raise ScanFailed(f"{path}: cannot be written ({error.strerror})") from error
        raise
    finally:
        passing.unlink(missing_ok=True)
    return replace(
        seen,
        path=path,
        scan=open_scan(path),
        started=started,
        seconds=seconds,
        settings=settings,
        said=tuple(said),
        notes=(*settings.notes, *seen.notes),
    )


def read_back(path: Path) -> Taken:
    """A scan that is in a file, read from its first pixel to its last.

    Raises
    ------
    UnreadableScan
        If it is damaged, ends early or is no scan.
    """
    scan = open_scan(path)
    seen = overview(scan)
    bits = true_bits(scan)
    notes = list(scan.notes)
    if bits is not None and bits < scan.bits:
        notes.append(f"{scan.bits} bits were delivered, but only {bits} of them carry anything")
    return Taken(path, scan, seen, started=scan.modified, true_bits=bits, notes=tuple(notes))


def sweep(folder: Path) -> None:
    """Remove what scans that were killed left under passing names."""
    for left in folder.glob(f".*.tif{SUFFIX}"):
        left.unlink(missing_ok=True)


# ------------------------------------------------------------------------ the child process


def _run(
    passing: Path, settings: Settings, progress: Progress, stall_s: float
) -> tuple[int, list[str]]:
    """Run ``scanimage`` to its end: its exit status and what it said."""
    command = [
        program(),
        *arguments(settings.device, settings.values),
        "--format=tiff",
        "--progress",
        f"--output-file={passing.absolute()}",
    ]
    heard = b""
    begun = moved = time.monotonic()
    size = 0
    with _child(command) as child:
        assert child.stderr is not None
        os.set_blocking(child.stderr.fileno(), False)
        ended = False
        while not ended:
            time.sleep(POLL_S)
            ended = _has_ended(child)  # before reading: what it said last is then there
            new = child.stderr.read() or b""
            heard = (heard + new)[-KEPT_BYTES:]
            grown = passing.stat().st_size if passing.exists() else 0
            now = time.monotonic()
            if new or grown != size:
                moved, size = now, grown
            if not ended and now - moved > stall_s:
                raise ScanFailed(
                    f"nothing came from the scanner for {stall_s:g} s",
                    "check cable and power, switch it off and on, scan again",
                )
            progress(_share(heard), now - begun)
    return child.returncode, _driver_lines(heard)


@contextmanager
def _child(command: Sequence[str]) -> Iterator[subprocess.Popen[bytes]]:
    """A child in a process group of its own; stopped, with all its group, when this ends."""
    child = subprocess.Popen(
        command,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env=plain_words(),
        start_new_session=True,
    )
    try:
        yield child
    finally:
        try:
            _ask_to_stop(child)
        finally:  # also when a second Ctrl-C cuts the wait short
            with suppress(ProcessLookupError):
                os.killpg(child.pid, signal.SIGKILL)
            child.wait()
            if child.stderr is not None:
                child.stderr.close()


def _ask_to_stop(child: subprocess.Popen[bytes]) -> None:
    if _has_ended(child):
        return
    child.send_signal(signal.SIGINT)
    until = time.monotonic() + GRACE_S
    while time.monotonic() < until and not _has_ended(child):
        time.sleep(POLL_S)


def _has_ended(child: subprocess.Popen[bytes]) -> bool:
    """Whether it has ended; it is not reaped, so that its group's number stays its own."""
    if child.returncode is not None:
        return True
    flags = os.WEXITED | os.WNOHANG | os.WNOWAIT
    return os.waitid(os.P_PID, child.pid, flags) is not None


def _share(heard: bytes) -> float | None:
    found = re.findall(rb"Progress: ([\d.]+)%", heard[-400:])
    return float(found[-1]) / 100 if found else None


def _driver_lines(heard: bytes) -> list[str]:
    text = re.sub(r"Progress: (\(unknown\)|[\d.]+%)", "\n", heard.decode("utf-8", "replace"))
    return [line.strip() for line in re.split(r"[\r\n]+", text) if line.strip()]


# --------------------------------------------------------------------------------- checks


def _refuse_full(folder: Path, settings: Settings) -> None:
    free = _free(folder)
    if free < settings.size_bytes:
        raise ScanFailed(
            f"the disk is full: the scan needs {settings.size_bytes / 1e6:.1f} MB, "
            f"{free / 1e6:.1f} MB are free",
            DISK_FULL[1],
        )


def _free(folder: Path) -> int:
    try:
        return shutil.disk_usage(folder).free
    except OSError as error:
        raise ScanFailed(
            f"{folder}: cannot be reached ({error.strerror})", "look for the disk"
        ) from error


def _describe(
    passing: Path,
    settings: Settings,
    seconds: float,
    started: str,
    lamp: tuple[tuple[float, float], ...],
) -> None:
    """Write options and seconds into the file itself, and the file to the disk."""
    if not passing.exists() or passing.stat().st_size < LEAST_BYTES:
        raise ScanFailed("the scanner reported success but sent no picture", "scan again")
    options = dict(settings.all_options or settings.values)
    driver = Driver(settings.calibrated, kept_min(options), numbers(options), lamp)
    facts = {
        "device": settings.device,
        "started": started,
        "seconds": seconds,
        "options": options,
        "driver": asdict(driver),
    }
    describe(passing, json.dumps(facts))
    with passing.open("rb") as file:
        os.fsync(file.fileno())


def _checked(passing: Path, settings: Settings) -> Taken:
    """Every pixel read, and all found as asked for."""
    try:
        taken = read_back(passing)
    except UnreadableScan as error:
        why = str(error).removeprefix(f"{passing}: ")
        raise ScanFailed(f"the scanner reported success but the file {why}") from error
    scan = taken.scan
    wrong = []
    if scan.dpi is None or any(abs(d / settings.dpi - 1) > DPI_TOLERANCE for d in scan.dpi):
        got = "no dpi" if scan.dpi is None else f"{scan.dpi[0]:g} × {scan.dpi[1]:g} dpi"
        wrong.append(f"{got} instead of {settings.dpi:g}")
    if settings.bits is not None and scan.bits != settings.bits:
        wrong.append(f"{scan.bits} bits instead of {settings.bits}")
    if scan.channels != settings.channels:
        wrong.append("grey instead of colour" if scan.channels == 1 else "colour instead of grey")
    if settings.size_mm is not None:
        for side, px, mm in zip(
            ("wide", "high"), (scan.width_px, scan.height_px), settings.size_mm, strict=True
        ):
            asked_px = mm * settings.dpi / MM_PER_INCH
            if abs(px - asked_px) > SIZE_TOLERANCE * asked_px + 1:
                wrong.append(f"{px} px {side} instead of {asked_px:.0f}")
    if wrong:
        raise ScanFailed(
            f"the scanner did not deliver what was asked: {', '.join(wrong)}",
            "ask for something else or scan with its own software and use --from-folder",
        )
    return taken


def true_bits(scan: FileScan) -> int | None:
    """Bits of a sample that carry anything: fewer than its bits if a driver pads or repeats them.

    Looked at in a strip across the middle; None if that is black and white only.
    """
    if scan.bits == 8:
        return 8
    rows = min(64, scan.height_px)
    strip: Pixels = scan.window(Window((scan.height_px - rows) // 2, 0, rows, scan.width_px))
    if not np.any((strip > 0) & (strip < 65535)):
        return None
    if np.all(strip >> 8 == (strip & 255)):
        return 8
    used = int(np.bitwise_or.reduce(strip, axis=None))
    padding = (used & -used).bit_length() - 1
    return 16 - padding
