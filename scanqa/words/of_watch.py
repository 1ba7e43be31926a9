"""Sentences of the watch over a job: what began at which page, and what to do."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.model.watched import Event, Watched, WatchedPage
from scanqa.words.numbers import MINUS, people, with_unit

ALARM_RATE = (
    "Pages are ordered again wrongly in at most 1 of 100 sound jobs (all searches of a job "
    "together); a blank is asked for without need more often."
)
CLOTH = "cleaner on a cloth, never on the glass"
BLANK = "scan one blank now"
WHOSE = {"scanner": "the scanner's", "book": "the book's"}
LEFT_OUT = {
    "size": "of another size, and not to be laid on the sensor",
    "columns": "with columns that do not agree with the pages before (another scanner, or turned "
    "a little afterwards)",
    "resampled": "resampled afterwards (deskewed, scaled), which moves columns",
    "compression": "compressed otherwise than the start, which changes what columns show",
    "few-columns": "with too little bare paper",
    "sheet": "test sheets",
}
SETTINGS = {
    "crop": "the page is cropped",
    "size": "another size",
    "dpi": "another dpi",
    "compression": "lossy compression is on, or stronger",
    "resampling": "the page was resampled (deskewed or scaled)",
    "mode": "another mode",
    "levels": "codes are missing: levels or contrast were changed after the scan",
    "clipped": "light areas are cut off at white",
}
TURN_OFF = {
    "crop": "turn automatic cropping off",
    "size": "set the area back",
    "dpi": "set the dpi back",
    "compression": "set the compression back",
    "resampling": "turn deskewing and scaling off",
    "clipped": "set exposure and levels back",
    "mode": "set the mode back if it was not meant",
    "levels": "turn levels, contrast and colour adjustment off",
}
SHIFTS = {
    "light": "the paper is {change} in light",
    "tint": "the paper's tint has changed by {change}",
    "grain": "the grain on bare paper has changed by {change}",
    "sharpness": "the {side} half is softer against the other by {size}",
    "gutter": "the light at the {side} edge has changed by {change}",
}


def event_sentence(event: Event) -> str:
    """What began, where, and what to do."""
    return f"{what_happened(event)}; {what_to_do(event)}"


def what_happened(event: Event) -> str:
    """What began at which page."""
    begin = f"from {event.from_file}" if event.lasts or _several(event) else event.from_file
    end = "" if event.lasts or not _several(event) else f" to {event.to_file}"
    return f"{begin}{end}: {fault_words(event)}"


def fault_words(event: Event) -> str:
    """The fault alone."""
    if event.kind in ("line", "line-or-print"):
        return _line_words(event)
    if event.kind in SETTINGS:
        change = f" ({event.before} before, now {event.now})" if event.now and event.before else ""
        return SETTINGS[event.kind] + change
    if event.kind == "gutter" and event.contrast_percent is None:
        return f"pages lie turned by {event.now} against the first ones"
    return SHIFTS[event.kind].format(change=_percent(event), size=_size(event), side=event.side)


def what_to_do(event: Event) -> str:
    """The order, the blank, or nothing."""
    span = pages_words(event.files)
    if event.cause == "book" and event.action == "none":
        return f"{event.decided_by} shows that it is the book's: nothing to do"
    if event.action == "check":
        return (
            f"{event.decided_by} shows that it is the scanner's: stop, check the scanner "
            f"(scanqa qualify) and judge {span} by it"
        )
    if event.action == "look" and event.decided_by:
        return (
            f"{event.decided_by} cannot tell, for no blank was scanned before: check the scanner "
            "(scanqa qualify), and begin jobs with a blank"
        )
    if event.kind == "line" and event.action == "scan-again":
        where = "the white calibration strip and the glass" if _bright(event) else "the glass"
        gone = "" if event.lasts else "it is gone since; "
        return (
            f"{gone}clean {where} ({CLOTH}) and scan {span} again"
            if event.lasts
            else (f"{gone}scan {span} again")
        )
    if event.action == "scan-again":
        turn = f"{TURN_OFF[event.kind]} and " if event.lasts else ""
        return f"{turn}scan {span} again"
    if event.action == "look":
        return TURN_OFF[event.kind]
    if event.kind == "line-or-print":
        return f"line or print: {BLANK}"
    return f"the scanner's or the book's: {BLANK}"


def summary_sentence(watched: Watched) -> str:
    """The job in a sentence or two."""
    pages = [page for page in watched.pages if page.shows == "page"]
    if not pages:
        return "No page was read."
    asking = [page for page in pages if not page.ok]
    if not asking:
        return f"{_counted(len(pages))}, nothing found against {_them(len(pages))}."
    sound = next(at for at, page in enumerate(pages) if not page.ok)
    first = [e for e in watched.events if e.action != "none"]
    begin = f"Pages 1 to {sound} sound; " if sound > 1 else ""
    redo = len(watched.redo)
    end = f" {redo} of {_counted(len(pages))} to be scanned again." if redo else ""
    return f"{begin}{event_sentence(first[0])}.{end}"


def judged_sentence(watched: Watched) -> str:
    """How much of the sensor, and of the pages, was searched for lines."""
    pages = [page for page in watched.pages if page.shows == "page"]
    searched = [page for page in pages if not page.left_out]
    if not pages:
        return ""
    share = sum(page.judged_percent for page in searched) / max(len(searched), 1)
    words = [
        f"Searched for lines: {len(searched)} of {_counted(len(pages))}, "
        f"{share:.0f} % of the columns of a page; {watched.blind_percent:.0f} % of the columns "
        "are never judged (rules, edges, holes), and a line there would not be seen"
    ]
    if not watched.columns_known:
        words.append(
            "the scanner's column pattern was not recognised: pages turned or deskewed afterwards "
            "would hide a line"
        )
    words += [
        f"{_counted(count)} left out: {LEFT_OUT[why]}"
        for why in LEFT_OUT
        if (count := sum(page.left_out == why for page in pages))
    ]
    return "; ".join(words) + "."


def page_words(page: WatchedPage) -> str:
    """A page that was set aside, and why; empty if it was not."""
    if page.shows == "unreadable":
        return f"{page.file}: cannot be read ({page.why}); set aside"
    if page.left_out in LEFT_OUT:
        return f"{page.file}: left out of the search for lines, {LEFT_OUT[page.left_out]}"
    return ""


def pages_words(files: Sequence[str]) -> str:
    """Files as a span."""
    if not files:
        return "nothing"
    if len(files) == 1:
        return files[0]
    return f"{files[0]} to {files[-1]}" + (f" ({len(files)} pages)" if len(files) > 2 else "")


def _line_words(event: Event) -> str:
    contrast = event.contrast_percent or 0.0
    way = "bright" if contrast > 0 else "dark"
    place = f"column {event.at_px:.0f}" if event.at_mm is None else f"x {event.at_mm:.1f} mm"
    return f"a {way} line at {place}, {_size(event)}"


def _percent(event: Event) -> str:
    """Its change with its sign and doubt."""
    return f"{'+' if _bright(event) else MINUS}{_size(event)}"


def _size(event: Event) -> str:
    """How much, in per cent, with its doubt."""
    text, doubt = people(abs(event.contrast_percent or 0.0), event.uncertainty, 1)
    return with_unit(f"{text}\u00a0±\u00a0{doubt}" if doubt else text, "%")


def _bright(event: Event) -> bool:
    return (event.contrast_percent or 0.0) > 0


def _several(event: Event) -> bool:
    return event.from_file != event.to_file


def _counted(number: int) -> str:
    return f"{number} page" if number == 1 else f"{number} pages"


def _them(number: int) -> str:
    return "it" if number == 1 else "them"
