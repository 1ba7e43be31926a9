"""Where the scans of a guided session come from: a device, or a folder that others fill."""

from __future__ import annotations

import statistics
from collections.abc import Callable
from pathlib import Path
from typing import Protocol

from scanqa.capture.desk import GO, Desk
from scanqa.capture.device import Settings
from scanqa.capture.faults import ScanFailed
from scanqa.capture.lamp_wait import LONGEST_S, Levels, level_of, short, wait_for_light
from scanqa.capture.one_scan import STALL_S, Taken, read_back, scan_to
from scanqa.capture.steps import Step
from scanqa.errors import BadOption, UnreadableScan
from scanqa.scans.incoming import LOOK_S, Seen, look, newest, rested

GUESSED_S, GUESSED_HIGHEST_S = 20.0, 60.0  # a scan, before any was timed


class Source(Protocol):
    """Waits until a step can be scanned, then gives its scan."""

    def wait(self, step: Step, desk: Desk, *, at_once: bool) -> str:
        """A key: ``go`` when the scan can be taken.

        With `at_once` nothing is to be laid, or the person has just asked for the scan again: a
        device need not ask.
        """

    def take(self, step: Step, desk: Desk) -> Taken:
        """The scan.

        Raises
        ------
        ScanFailed
            If there is none, with the reason.
        """

    def seconds(self, step: Step) -> float:
        """About how long a scan takes."""


class DeviceSource:
    """Scans with a SANE device into ``<step>.tif``.

    Parameters
    ----------
    folder : Path
        For the scans.
    settings : callable
        Gives the settings of a step.
    stall_s : float
        A scan is given up when nothing comes for so long.
    lamp_s : float
        Longest wait for the light to rest before the first scan that asks for it; 0 is none.
    """

    def __init__(
        self,
        folder: Path,
        settings: Callable[[Step], Settings],
        *,
        stall_s: float = STALL_S,
        lamp_s: float = LONGEST_S,
    ) -> None:
        self._folder, self._settings, self._stall_s = folder, settings, stall_s
        self._lamp_s: float = lamp_s
        self._timed: dict[bool, list[float]] = {False: [], True: []}

    def wait(self, step: Step, desk: Desk, *, at_once: bool) -> str:
        """Wait for a key, if it must be asked for."""
        if at_once:
            return GO
        return desk.key("[Enter] scan   [s] skip   [q] stop here:") or GO

    def take(self, step: Step, desk: Desk) -> Taken:
        """Scan; the share done and the seconds are shown meanwhile."""

        def show(share: float | None, seconds: float) -> None:
            percent = "" if share is None else f"{share:5.0%}"
            desk.passing(f"  scanning {percent} {seconds:5.0f} s   (Ctrl-C stops)")

        try:
            settings = self._settings(step)
        except BadOption as error:
            raise ScanFailed(str(error)) from error
        path = self._folder / f"{step.id}.tif"
        try:
            lamp = self._rested(settings, desk) if step.needs_rested_light else ()
            taken = scan_to(path, settings, progress=show, stall_s=self._stall_s, lamp=lamp)
        finally:
            desk.passing("")
        if taken.seconds is not None:
            self._timed[step.highest_dpi].append(taken.seconds)
        return taken

    def _rested(self, settings: Settings, desk: Desk) -> Levels:
        """What short scans saw of the light until it rested; once in a sitting."""
        few = short(settings)
        if not self._lamp_s or few is None:
            return ()

        def level() -> float:
            desk.passing("  waiting until the light rests   (Ctrl-C stops)")
            return level_of(self._folder, few, stall_s=self._stall_s)

        seen = wait_for_light(level, longest_s=self._lamp_s)
        self._lamp_s = 0.0
        looks = f"{len(seen.levels)} short scans within {seen.seconds:.0f} s"
        if seen.rested:
            desk.say(f"  The light rests: {looks}, the last two agree within 0.5 %.")
        else:
            desk.say(f"  The light still moves, {seen.moved_percent:+.1f} %: {looks}.")
        return seen.levels

    def seconds(self, step: Step) -> float:
        """Median of the scans timed so far."""
        timed = self._timed[step.highest_dpi]
        if timed:
            return statistics.median(timed)
        return GUESSED_HIGHEST_S if step.highest_dpi else GUESSED_S


class FolderSource:
    """Takes the newest new file of a folder; files are neither moved nor changed.

    A file is new if it was not there, or was older, when the step began, and it is taken when its
    size has stopped growing.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._used: Seen = {}
        self._next: str | None = None

    def wait(self, step: Step, desk: Desk, *, at_once: bool) -> str:
        """Wait for a file, or a key; Enter looks at once. There is no scan without a new file."""
        del at_once
        before = last = look(self._folder)
        offer = newest({n: s for n, s in before.items() if self._used.get(n) != s})
        use = f"   [u] use {offer}" if offer else ""
        prompt = (
            f"Scan into {self._folder}; waiting for a new file.   [s] skip   [q] stop here{use}:"
        )
        while True:
            key = desk.key(prompt, timeout_s=LOOK_S)
            now = look(self._folder)
            whole = {n: s for n, s in rested(last, now).items() if before.get(n) != s}
            last = now
            if key == "u" and offer:
                self._next = offer
                return GO
            if newest(whole) and key in (None, GO):
                self._next = newest(whole)
                desk.say(f"\n  {self._next}")
                return GO
            if key == GO:
                desk.say("  No new scan is there yet; it is taken as soon as it is saved.")
            elif key is not None:
                return key

    def take(self, step: Step, desk: Desk) -> Taken:
        """Read the file that was found."""
        name, self._next = self._next, None
        if name is None:
            raise ScanFailed("no new file is there", "save the scan, then press Enter")
        path = self._folder / name
        self._used = self._used | {n: s for n, s in look(self._folder).items() if n == name}
        try:
            return read_back(path)
        except UnreadableScan as error:
            raise ScanFailed(str(error)) from error

    def mark_used(self, names: tuple[str, ...]) -> None:
        """Say which files earlier runs have taken."""
        self._used |= {name: seen for name, seen in look(self._folder).items() if name in names}

    def seconds(self, step: Step) -> float:
        """A guess: the scans are made elsewhere."""
        return GUESSED_HIGHEST_S if step.highest_dpi else GUESSED_S
