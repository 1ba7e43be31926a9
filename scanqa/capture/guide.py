"""Walks a plan: says what to lay down, waits, takes the scan, looks at it, keeps it or asks again.

After each scan that is kept the session is written, so that Ctrl-C, a crash or a power cut cost the
scan in hand and nothing else; called again, the walk goes on behind the last scan that was kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from scanqa.capture.desk import GO, STOP, Desk
from scanqa.capture.faults import ScanFailed
from scanqa.capture.moved import lay_still
from scanqa.capture.one_scan import Taken, read_back
from scanqa.capture.session import Entry, Session, entry_of, save
from scanqa.capture.sources import Source
from scanqa.capture.steps import Step
from scanqa.errors import UnreadableScan
from scanqa.model import Overview


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a look at a scan found.

    Attributes
    ----------
    shows : str
        What was recognised, in words; empty if nothing was.
    again : mapping of str to str
        Kinds of fault (``role``, ``clipped``, …) and why to scan again, in words.
    notes : tuple of str
        Worth knowing, not worth a new scan.
    facts : mapping
        Kept in the session.
    """

    shows: str = ""
    again: Mapping[str, str] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)


UNKNOWN_KEY = "  That key means nothing here; the ones that do stand in brackets."

Check = Callable[[Step, Taken, Session], Verdict]


class Stopped(Exception):
    """The user stops here; all that was kept is in the session."""


@dataclass(frozen=True, slots=True)
class Walk:
    """What stays the same along the walk."""

    plan: Sequence[Step]
    folder: Path
    source: Source
    check: Check
    desk: Desk


def walk(route: Walk, session: Session) -> Session:
    """Scan all steps that the session does not hold yet.

    Returns
    -------
    Session
        With the new scans; it was also saved after each.

    Raises
    ------
    Stopped
        If the user stops.
    """
    done_before = False  # in this run: meanwhile something else may lie on the glass
    for number, step in enumerate(route.plan):
        if session.entry(step.id):
            continue
        waits = not step.follows or not done_before
        _announce(route, session, number)
        if step.follows and waits:
            route.desk.say("Lay back what lay there in the step before, if it was taken away.")
        entry_and_kinds = _step(route, session, step, waits=waits)
        done_before = entry_and_kinds is not None
        if entry_and_kinds is None:
            continue
        entry, kinds = entry_and_kinds
        session = session.with_entry(entry)
        session = replace(session, accepted=tuple(sorted({*session.accepted, *kinds})))
        save(route.folder, session)
    return session


def minutes_left(route: Walk, session: Session, number: int) -> float:
    """Time for a step and all behind it that are not done: laying, and scanning as measured."""
    left = [step for step in route.plan[number:] if not session.entry(step.id)]
    return sum(step.handling_s + route.source.seconds(step) for step in left) / 60


def _announce(route: Walk, session: Session, number: int) -> None:
    step, desk = route.plan[number], route.desk
    minutes = max(round(minutes_left(route, session, number)), 1)
    may = ", may be skipped" if step.optional else ""
    desk.say()
    desk.say(f"Step {number + 1} of {len(route.plan)}: {step.id}{may} (about {minutes} min left)")
    desk.say()
    for line in step.drawing.splitlines():
        desk.say(f"    {line}")
    desk.say()
    desk.say(step.lay)


def _step(
    route: Walk, session: Session, step: Step, *, waits: bool
) -> tuple[Entry, tuple[str, ...]] | None:
    """A scan that is kept and the kinds of fault it is kept despite of, or None if skipped."""
    while True:
        key = route.source.wait(step, route.desk, at_once=not waits)
        waits = True
        if key in (STOP, "q"):
            raise Stopped
        if key == "s":
            return None
        if key != GO:
            route.desk.say(UNKNOWN_KEY)
            continue
        try:
            taken = route.source.take(step, route.desk)
        except ScanFailed as error:
            route.desk.say(f"  No scan: {error}.")
            continue
        verdict = _look(route, session, step, taken)
        asked = {k: why for k, why in verdict.again.items() if k not in session.accepted}
        _tell(route.desk, taken, verdict, asked)
        if not asked:
            why = "; ".join(verdict.again.values())
            return _kept(step, taken, verdict, why), ()
        key = _again_or_keep(route.desk)
        if key == "k":
            return _kept(step, taken, verdict, "; ".join(verdict.again.values())), tuple(asked)
        if key == "s":
            return None
        waits = False


def _again_or_keep(desk: Desk) -> str:
    while True:
        key = desk.key("[Enter] scan again   [k] keep it as it is   [s] skip   [q] stop here:")
        if key in (STOP, "q"):
            raise Stopped
        if key in (GO, "k", "s"):
            return key
        desk.say(UNKNOWN_KEY)


def _kept(step: Step, taken: Taken, verdict: Verdict, why: str) -> Entry:
    return entry_of(step.id, taken, facts=verdict.facts, notes=verdict.notes, kept=why)


def _look(route: Walk, session: Session, step: Step, taken: Taken) -> Verdict:
    """The caller's check, and whether the scan is new and the paper was moved."""
    twin = next((e for e in session.entries if e.sha256 == taken.scan.sha256), None)
    if twin is not None and taken.seconds is None:
        words = f"it is the same file as {twin.file}, which is {twin.step}"
        return Verdict(again={"same": words})
    verdict = route.check(step, taken, session)
    before = _overview(route.folder, session.entry(step.moved_since)) if step.moved_since else None
    if before is None or verdict.again or not lay_still(before, taken.overview):
        return verdict
    words = f"the paper lies as in {step.moved_since}: move it by two or three centimetres"
    return replace(verdict, again={**verdict.again, "still": words})


def _overview(folder: Path, entry: Entry | None) -> Overview | None:
    if entry is None:
        return None
    try:
        return read_back(folder / entry.file).overview
    except UnreadableScan:  # it was taken away meanwhile; the end of the session says so
        return None


def _tell(desk: Desk, taken: Taken, verdict: Verdict, asked: Mapping[str, str]) -> None:
    scan = taken.scan
    colour = "colour" if scan.channels == 3 else "grey"
    dpi = "no dpi" if scan.dpi is None else f"{scan.dpi[0]:g} dpi"
    took = "" if taken.seconds is None else f", {taken.seconds:.1f} s"
    desk.say(
        f"  {scan.name}: {scan.width_px} × {scan.height_px} px, {dpi}, {colour}, "
        f"{scan.bits} bits{took}"
    )
    if verdict.shows:
        desk.say(f"  It shows {verdict.shows}.")
    accepted = [why for kind, why in verdict.again.items() if kind not in asked]
    for note in (*taken.notes, *taken.said, *verdict.notes, *accepted):
        desk.say(f"  Note: {note}.")
    for why in asked.values():
        desk.say(f"  Scan it again because {why}.")
    if not asked:
        desk.say("  Good." if not accepted else "  Kept.")
