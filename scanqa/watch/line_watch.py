"""Lines that persist at one sensor column while pages change: the running search.

A column's value on a page is held against the median of at least eight earlier pages, in units of
what the page's grain, and the earlier pages' scatter at this very column, leave. A line is there
when five judged pages in a row are off the same way, the least of them by 2.6 (or four by 4, three
by 6). One page alone never is: in ledgers a single one reaches fifty. A line may lie across two
columns: so means of neighbours are searched beside the columns themselves, and stand behind them in
every array of the search.

Print that begins at page k at one place does the same. It is told from dirt by what dirt cannot do:

* it ends where the type area ends, while dirt runs into the margins at both ends of the page;
* its contrast changes from page to page, for a page lies a little elsewhere, and a little askew;
* columns on both sides share it: beside pictures paper is shaded, which begins and ends with them;
* the other way round, dirt that keeps its column and contrast on pages that lie unlike is no
  print, and no rule that bleeds is as faint as most dirt.

Print that ends at page k leaves its columns "off" as well: there a page must be off its own
neighbours, too. What none of these tells apart is "line or print", which a blank decides.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from scanqa.model import Array
from scanqa.watch.line_state import (
    FEWEST_EARLIER,
    HELD_BACK,
    IN_A_ROW,
    RULES,
    Laid,
    Line,
    Search,
    aged,
    beside,
    both,
    with_pairs,
)

LEAST_PERCENT = 0.2
PATIENCE = 8  # judged pages after which "line or print" is said
FLANK = 8  # columns: a line's neighbours may be off the other way; JPEG spreads it over a block
SHADED, SHADE = 0.4, 10  # of the contrast, shared by columns as far away as this on both sides
ENDS_LIKE, ENDS_UNLIKE = 0.5, 0.3  # of the contrast, in the margins
KNOWN_ENDS = 0.3  # of the contrast: standard error of the margins' mean
STEADY = 0.35  # scatter of contrast over pages, of the contrast, noise taken off
UNSTEADY = 0.8
LOOSE_DEG, LOOSE_COUNT = 0.08, 3  # scatter of the pages' skew that shows that they lie unlike
FAINT_PERCENT = 2.0  # no rule that bleeds is printed fainter, common practice, no source
PATTERN = 4.0  # deviations of the column pattern: what is further off is print that was there
STILL_THERE, GONE_AFTER = 0.5, 2  # of the contrast; judged pages without it
BLANK_Z = 4.0


def search(state: Search, page: Laid) -> Search:
    """The state after one more page; lines found, seen again, or gone are in `lines`."""
    state, page = aged(state), with_pairs(page)
    newest = (*state.newest, page)[-HELD_BACK - IN_A_ROW :]
    state = replace(state, newest=newest)
    if state.middle is None or state.scatter is None or state.count is None:
        return state
    z = _z(state, page)
    runs, printed = _runs(state, z)
    state = replace(state, runs=runs, printed=printed)
    state = _followed(state, page)
    return _found(state, page)


def difference(state: Search, page: Laid) -> Array:
    """A page's columns against the baseline, per cent; zeros before there is one."""
    if state.middle is None:
        return np.zeros(state.width)
    return np.asarray(page.off[: state.width] - state.middle[: state.width])


def settled(state: Search, line: Line, blank: Laid) -> Literal["line", "print", ""]:
    """What a blank says of a line: it is there, it is not, or the blank cannot tell."""
    off = difference(state, blank)
    near = beside(line.column, len(off))
    if not np.isfinite(off[near]).any():
        return ""
    sign = np.sign(line.contrast)
    at = near.start + int(np.nanargmax(sign * off[near]))
    value, error = sign * float(off[at]), float(blank.error[at])
    if value >= STILL_THERE * abs(line.contrast) and value > BLANK_Z * error:
        return "line"
    return "print" if value + 2 * error < STILL_THERE * abs(line.contrast) else ""


def blind(state: Search) -> Array:
    """Columns where a line of 1 % would not be seen: (columns,) of bool."""
    if state.scatter is None or state.count is None:
        return np.zeros(state.width, np.bool_)
    few = state.count < FEWEST_EARLIER
    return np.asarray((few | (RULES[0][1] * state.scatter > 1.0))[: state.width])


# ----------------------------------------------------------------------------------- runs


def _z(state: Search, page: Laid) -> Array:
    assert state.middle is not None
    assert state.scatter is not None
    assert state.count is not None
    one = np.maximum(page.error, state.scatter)
    error = one * np.sqrt(1 + 1.57 / np.maximum(state.count, 1))  # a median's variance: π/2 n
    return np.asarray((page.off - state.middle) / error)


def _runs(state: Search, z: Array) -> tuple[Array, Array]:
    """Runs one page longer, broken, or, where the page is not judged, as they were."""
    assert state.runs is not None
    assert state.printed is not None
    known = np.isfinite(z)
    runs, printed = state.runs.copy(), state.printed.copy()
    for way, sign in enumerate((1.0, -1.0)):
        value = np.where(known, sign * z, 0.0)
        for rule, (_, least) in enumerate(RULES):
            run = runs[rule, way]
            runs[rule, way] = np.where(known, np.where(value >= least, run + 1, 0), run)
        printed[way] = np.where(runs[0, way] == 0, 0, printed[way])
    return runs, printed


def _found(state: Search, page: Laid) -> Search:
    """New lines: runs that are long enough, are no print, and belong to no known line."""
    assert state.runs is not None
    assert state.printed is not None
    free = np.ones(state.width, np.bool_)
    for line in state.lines:
        if not line.gone:
            free[beside(line.column, state.width, FLANK)] = False
    lines, printed, width = list(state.lines), state.printed.copy(), state.width
    free = np.append(free, free)
    for way, sign in enumerate((1.0, -1.0)):
        long = [state.runs[rule, way] >= pages for rule, (pages, _) in enumerate(RULES)]
        ripe = np.any(long, axis=0) & (printed[way] == 0) & free
        while ripe.any():
            columns = np.flatnonzero(ripe)
            seen = _contrasts(state, columns, state.runs[0, way][columns])
            best = int(np.argmax(np.abs(np.where(np.isfinite(seen), seen, 0))))
            column = int(columns[best])
            place = column if column < width else column - width + 0.5
            flank = both(beside(place, width, FLANK), width)
            verdict = _judged(state, column, sign, int(state.runs[0, way][column]))
            if isinstance(verdict, Line):
                lines.append(verdict)
            elif verdict == "print":
                for part in both(beside(place, width), width):
                    printed[way][part] = 1
            for part in flank:
                ripe[part] = False
                free[part] &= not isinstance(verdict, Line)
    return replace(state, lines=tuple(lines), printed=printed)


def _contrasts(state: Search, columns: Array, runs: Array) -> Array:
    """Mean difference from the baseline over each column's run, as far as pages are kept."""
    assert state.middle is not None
    reach = int(min(runs.max(), len(state.newest)))
    values = np.stack([p.off[columns] for p in state.newest[-reach:]]) - state.middle[columns]
    known = np.isfinite(values)
    total = np.where(known, values, 0).sum(axis=0)
    return np.asarray(total / np.maximum(known.sum(axis=0), 1))


def _judged(state: Search, column: int, sign: float, run: int) -> Line | Literal["print", ""]:
    """A line, print, or nothing yet."""
    assert state.middle is not None
    shown = [page for page in state.newest if np.isfinite(page.off[column])][-run:]
    values = np.array([float(page.off[column] - state.middle[column]) for page in shown])
    errors = np.array([float(page.error[column]) for page in shown])
    if len(shown) < RULES[-1][0]:
        return ""
    contrast = float(values.mean())
    if not sign * contrast >= LEAST_PERCENT:  # nor where the baseline has too few pages by now
        return ""
    if _was_print(state, column, contrast) or _shared(state, shown, column) > SHADED * abs(
        contrast
    ):
        return "print"
    error = float(np.sqrt((errors**2).mean() / len(shown) + values.var() / len(shown)))
    unsteady = np.sqrt(max(float(values.var(ddof=1) - (errors**2).mean()), 0.0)) / abs(contrast)
    ends, ends_error = _ends(state, shown, column)
    size = abs(contrast)
    runs_through = ends_error < KNOWN_ENDS * size and sign * ends > ENDS_LIKE * size
    stops = ends_error < KNOWN_ENDS * size and sign * ends + ends_error < ENDS_UNLIKE * size
    if stops or (unsteady > UNSTEADY and len(shown) >= IN_A_ROW):
        return "print"
    line = Line("line", _centre(state, column, sign), contrast, error, _since(state, column, sign,
                contrast, shown), shown[-1].number)  # fmt: skip
    no_rule = size < FAINT_PERCENT or _lie_unlike(shown)
    if runs_through and unsteady < STEADY and no_rule:
        return line
    if len(shown) < PATIENCE:
        return ""
    return replace(line, kind="line-or-print")


def _was_print(state: Search, column: int, contrast: float) -> bool:
    """Whether the baseline holds print here, and what changed is that it is gone."""
    assert state.middle is not None
    usual = np.abs(state.middle[: state.width])
    pattern = 1.4826 * float(np.nanmedian(usual))
    before = float(state.middle[column])
    ordinary = abs(before) < PATTERN * pattern
    return not ordinary and contrast * (before + contrast) < STILL_THERE * contrast**2


def _shared(state: Search, shown: list[Laid], column: int) -> float:
    """What the columns on both sides of it are off the same way, per cent; 0 if they are not."""
    assert state.middle is not None
    at = column if column < state.width else column - state.width
    wide, line = beside(at, state.width, SHADE), beside(at, state.width)
    columns = [c for c in range(wide.start, wide.stop) if not line.start <= c < line.stop]
    values = np.stack([page.off[columns] for page in shown]) - state.middle[columns]
    means = [float(v[np.isfinite(v)].mean()) for v in values.T if np.isfinite(v).any()]
    own = float(np.nanmean([page.off[column] - state.middle[column] for page in shown]))
    return float(np.sign(own) * np.median(means)) if means else 0.0


def _ends(state: Search, shown: list[Laid], column: int) -> tuple[float, float]:
    """Contrast in the margins, against that of earlier pages there; infinite error if unknown."""
    ends = np.array([float(p.ends[column]) for p in shown])
    errors = np.array([float(p.ends_error[column]) for p in shown])
    before = np.array([float(p.ends[column]) for p in state.earlier])
    known, before = np.isfinite(ends), before[np.isfinite(before)]
    if not known.any() or len(before) < FEWEST_EARLIER // 2:
        return 0.0, np.inf
    count = int(known.sum())
    error = float(np.sqrt((errors[known] ** 2).sum())) / count
    base_error = float(np.median(errors[known])) * 1.25 / len(before) ** 0.5
    # Of few pages the median is not much worse than the mean, and one header does not count.
    return float(np.median(ends[known]) - np.median(before)), 1.25 * float(
        np.hypot(error, base_error)
    )


def _lie_unlike(shown: list[Laid]) -> bool:
    """Whether these pages lie unlike on the glass, so that print would not keep its column."""
    skews = np.array([page.skew_deg for page in shown if page.skew_deg is not None])
    if len(skews) < LOOSE_COUNT:
        return False
    return float(np.std(skews, ddof=1)) > LOOSE_DEG


def _centre(state: Search, column: int, sign: float) -> float:
    """Centre of a line in columns, by its own light over the last pages."""
    column = column if column < state.width else column - state.width
    near = beside(column, state.width)
    shown = np.stack([difference(state, page)[near] for page in state.newest[-IN_A_ROW:]])
    known = np.isfinite(shown)
    means = np.where(known, shown, 0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    light = np.maximum(sign * means, 0)
    if light.sum() <= 0:
        return float(column)
    light = np.where(light > 0.25 * light.max(), light, 0)
    return float((light * np.arange(near.start, near.stop)).sum() / light.sum())


def _since(state: Search, column: int, sign: float, contrast: float, shown: list[Laid]) -> int:
    """The page on which it began: pages before the run that show half of it belong to it."""
    assert state.middle is not None
    since = shown[0].number
    for page in reversed([p for p in state.newest if p.number < since]):
        value = float(page.off[column] - state.middle[column])
        if np.isfinite(value):
            if sign * value < STILL_THERE * abs(contrast):
                break
            since = page.number
    return since


def _followed(state: Search, page: Laid) -> Search:
    """Known lines: seen on this page, not seen, or not to be told."""
    off = difference(state, page)
    lines = []
    for line in state.lines:
        if line.gone:
            lines.append(line)
            continue
        near = off[beside(line.column, len(off), 1)]
        if not np.isfinite(near).any():
            lines.append(replace(line, last=page.number) if line.without == 0 else line)
            continue
        sign = np.sign(line.contrast)
        value = float(np.nanmax(sign * near))
        if value >= STILL_THERE * abs(line.contrast):
            lines.append(replace(line, last=page.number, without=0))
        else:
            without = line.without + 1
            lines.append(replace(line, without=without, gone=without >= GONE_AFTER))
    return replace(state, lines=tuple(lines))
