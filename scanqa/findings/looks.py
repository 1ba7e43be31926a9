"""Second looks: which ones the scans at hand hold, and whether what they show agrees.

A sign may be called the scanner's only if it shows again in a scan that differs in what else could
be its cause (`scanqa.catalogue.SECOND_LOOKS`: each measure's row names one). The measurements of a
set are therefore divided into *sides* by how the thing lay (paper moved or turned, sheet turned,
edge printed or cut, another original, …) and the same signs are looked for on each side by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from dataclasses import replace

from scanqa.catalogue import CATALOGUE, FAMILIES, LOOK_OF_SIGN
from scanqa.findings.signs import Signs, asking, observe
from scanqa.model import LIKE_DPI, Measurement, Results, ScanFacts, Seen, Streak
from scanqa.summary import Summary, summarise

LIKELY = 10.0  # how much likelier a line is in all scans than in one only, for that to be known
FEWEST_OF_A_RULING, LIKE = 3, 2.0  # lines that moved, with contrast and width within this factor
UNLIKE = 0.1  # of a width: an uncertainty beyond it says that it differs from scan to scan
SAME_PERIOD = 0.02  # share by which the periods of one band may differ
SAME_PLACES = ("side", "place")  # terms of a sign that say where
STRONGEST = "streaks.strongest_visible"
NONE_NEEDED = "none-needed"

Sides = dict[str, tuple[Signs, ...]]  # of each look that was made, the signs of each of its sides


def look_for(seen: Seen) -> str:
    """The second look that a sign needs, by the measure it rests on."""
    if seen.sign in LOOK_OF_SIGN:
        return LOOK_OF_SIGN[seen.sign]
    name = seen.rests_on[0]
    row = CATALOGUE.get(name) or FAMILIES[name].measures[0]
    return row.second_look


def looks_made(
    results: Results, scans: Sequence[ScanFacts], earlier: Sequence[Summary] = ()
) -> Sides:
    """The second looks that a set of scans holds.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : sequence of ScanFacts
        The scans that it was measured on.
    earlier : sequence of Summary
        What the same scanner gave at an earlier check.

    Returns
    -------
    mapping of look to signs
        One mapping of signs for each side; a sign is missing on a side that does not measure it.
    """
    made: Sides = {}
    for look, side_of in SIDES_OF.items():
        alike = _finest(scans) if look == "another-original" else scans
        sides = {side for scan in alike if (side := side_of(scan)) is not None}
        if len(sides) > 1:
            made[look] = tuple(
                _signs(results, alike, {s.file for s in alike if side_of(s) == side})
                for side in sorted(sides, key=str)
            )
    known = [m for m in results.measurements if m.value is not None]
    kinds = sorted({m.edge_kind for m in known if m.edge_kind and m.edge_kind != "found"})
    if len(kinds) > 1:
        made["another-edge"] = tuple(
            _observed([m for m in results.measurements if m.edge_kind == kind], scans)
            for kind in kinds
        )
    if "sheet-quarter" in made or _print_is_known(results):
        made["rule"] = ()
    if not any(scan.paper == "still" for scan in scans):
        made.setdefault("paper-moved", ())  # lines and marks say themselves whether they stay
    if earlier:
        now = observe(results, summarise(results.measurements, scans), scans)
        made["earlier-check"] = (now, observe(Results(), earlier, ()))
    return made


def scans_had(made: Sides, scans: Sequence[ScanFacts]) -> frozenset[str]:
    """Second looks and families whose scan is in the set, by their ids.

    An edge card is another edge than a printed one; cut edges of a sheet are no edge card. A
    family's scan is that of its first role.

    Parameters
    ----------
    made : mapping
        From `looks_made`.
    scans : sequence of ScanFacts
        The scans of the set.
    """
    roles = {scan.role for scan in scans}
    looks = {look for look, sides in made.items() if sides or look == "rule"}
    if "edge-card" not in roles:
        looks.discard("another-edge")
    return frozenset(looks | {f.name for f in FAMILIES.values() if f.roles[0] in roles})


def one_look(scans: Sequence[ScanFacts]) -> bool:
    """Whether blanks were scanned, but none again with its paper moved.

    Parameters
    ----------
    scans : sequence of ScanFacts
        The scans of a set.
    """
    return {_moved(scan) for scan in scans} - {None} not in (set(), {False, True})


def agrees(seen: Seen, made: Sides, results: Results) -> bool | None:
    """Whether the second look shows the same; None if it was not made.

    Parameters
    ----------
    seen : Seen
        The sign.
    made : mapping
        From `looks_made`.
    results : Results
        What it was seen in: whether a line stays while the paper moves is known of each line.
    """
    look = look_for(seen)
    if look == NONE_NEEDED or seen.sign == "fainter":  # this one is a comparison of two checks
        return True
    if look not in made:
        return None
    if seen.streak is not None:
        return _line_stays(seen.streak, results)
    if seen.mark is not None:
        return True  # found only where it stays
    if not made[look] and look == "paper-moved":
        return None
    looked = [side for side in made[look] if seen.sign in side]
    width, error = seen.numbers.get("mm"), seen.numbers.get("uncertainty", 0.0)
    if not looked and width is not None and error > UNLIKE * width:
        return None  # of all sides at once, which do not agree
    if not looked:
        return True  # measured from all sides at once: what is of one side only is not in it
    if len(looked) < 2:
        return None
    return all(
        any(_alike(seen, other) for other in asking(side).get(seen.sign, ())) for side in looked
    )


def with_doubtful_lines_bounded(
    measurements: Sequence[Measurement], results: Results, made: Sides
) -> tuple[Measurement, ...]:
    """What is known of lines: between none and all, where they may all be the paper's.

    Parameters
    ----------
    measurements : sequence of Measurement
        Those that a use is to be judged by.
    results : Results
        With its lines.
    made : mapping
        From `looks_made`.
    """
    visible = [at for at, streak in enumerate(results.streaks) if streak.visible]
    if "paper-moved" in made and all(_line_stays(at, results) is not None for at in visible):
        return tuple(measurements)
    why = "one look does not tell lines of the scanner from those of the paper"
    return tuple(
        replace(m, status="between", low=0.0, high=m.value, reason=why, reason_kind="unclear")
        if m.name == STRONGEST and m.status == "ok" and m.value
        else m
        for m in measurements
    )


def _line_stays(streak: int, results: Results) -> bool | None:
    """Whether a line is in the other scans too; None if that is not known."""
    if of_a_ruling(streak, results):
        return False
    if results.streaks[streak].axis == "across" and len(_like(streak, results)) > 2:
        return None  # a ruling that moved by its pitch seems to stay, every line of it
    signs = results.streaks[streak].signs
    if not signs.compared or 1 / LIKELY < signs.stays < LIKELY:
        return None
    return signs.stays > 1


def of_a_ruling(streak: int, results: Results) -> bool:
    """Whether a line is like others that moved with the paper: one of a ruling seems to stay.

    Moved by about its pitch, a ruled sheet shows a line where another one was.
    """
    like = _like(streak, results)
    moved = [each for each in like if each.signs.compared and each.signs.stays <= 1 / LIKELY]
    return len(moved) >= FEWEST_OF_A_RULING


def _like(streak: int, results: Results) -> list[Streak]:
    """Other lines of one way and polarity, of about its contrast and width."""
    line = results.streaks[streak]
    return [
        other
        for at, other in enumerate(results.streaks)
        if at != streak
        and (other.axis, other.polarity) == (line.axis, line.polarity)
        and _ratio(other.contrast_percent, line.contrast_percent) < LIKE
        and _ratio(other.width_um, line.width_um) < LIKE
    ]


def _ratio(one: float, other: float) -> float:
    """How many times the larger is the smaller."""
    return max(one, other) / max(min(one, other), 1e-9)


def _alike(one: Seen, other: Seen) -> bool:
    """Whether two signs of one kind speak of the same thing."""
    if one.direction != other.direction:
        return False
    for name in SAME_PLACES:
        places = [set(seen.terms.get(name, "").split("-")) for seen in (one, other)]
        if not set.intersection(*places):
            return False
    periods = [seen.numbers.get("period_mm") for seen in (one, other)]
    if periods[0] is not None and periods[1] is not None:
        return abs(periods[0] / periods[1] - 1) < SAME_PERIOD
    return True


def _signs(results: Results, scans: Sequence[ScanFacts], files: set[str]) -> Signs:
    """Signs in the measurements of some of the scans."""
    own = [scan for scan in scans if scan.file in files]
    return _observed([m for m in results.measurements if m.scan in files], own)


def _observed(measurements: Sequence[Measurement], scans: Sequence[ScanFacts]) -> Signs:
    return observe(Results(tuple(measurements)), summarise(measurements, scans), scans)


def _finest(scans: Sequence[ScanFacts]) -> list[ScanFacts]:
    """Scans of the finest dpi: at a coarser one nothing need be made up."""
    known = [(scan, scan.dpi[0]) for scan in scans if scan.dpi is not None]
    finest = max((dpi for _, dpi in known), default=0.0)
    return [scan for scan, dpi in known if dpi >= LIKE_DPI * finest]


def _print_is_known(results: Results) -> bool:
    """Whether the print's own size was told from the scanner's, by a rule or by turning."""
    return bool(results.named("geometry.printer_across") or results.named("geometry.printer_down"))


# ------------------------------------------------------------------ which side a scan is of


def _moved(scan: ScanFacts) -> Hashable:
    """Paper that shows nothing of itself counts as moved: what is seen is then hardly its own."""
    if scan.role != "blank":
        return None
    return scan.paper not in ("first", "still")


def _quarter(scan: ScanFacts) -> Hashable:
    return None if scan.role != "blank" else scan.paper == "quarter"


def _half(scan: ScanFacts) -> Hashable:
    return None if scan.role != "blank" else scan.paper in ("quarter", "half")


def _turned(scan: ScanFacts) -> Hashable:
    return scan.rotation_deg if scan.role == "bed-sheet" else None


def _sheet_quarter(scan: ScanFacts) -> Hashable:
    return scan.rotation_deg % 180 if scan.role == "bed-sheet" else None


def _original(scan: ScanFacts) -> Hashable:
    """What lies on the glass: a sheet by its id, else each file for itself."""
    if scan.role in ("blank", "dark"):
        return None
    return scan.sheet or scan.file


def _each_of(role: str) -> Callable[[ScanFacts], Hashable]:
    return lambda scan: scan.file if scan.role == role else None


SIDES_OF: dict[str, Callable[[ScanFacts], Hashable]] = {
    "paper-moved": _moved,
    "paper-turned": _quarter,
    "paper-half": _half,
    "sheet-turned": _turned,
    "sheet-quarter": _sheet_quarter,
    "another-original": _original,
    "book-again": _each_of("open-book"),
    "strip-again": _each_of("edge-strip"),
    "ramp-again": _each_of("gutter-ramp"),
}
