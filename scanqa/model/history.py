"""Types that cross the border between records and report: histories and comparisons, frozen.

Times are ISO 8601 in UTC; *days* count from the first check of a history.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from scanqa.model.result import Bounds, Key

DAYS_PER_MONTH = 365.2425 / 12  # of the Gregorian calendar

State = Literal["steady", "changed", "drifting", "too few checks"]


# ------------------------------------------------------------------------------- histories


@dataclass(frozen=True, slots=True)
class Event:
    """Something that was done to a scanner."""

    scanner: str
    at: str
    words: str


@dataclass(frozen=True, slots=True)
class Change:
    """A change found in a series.

    Attributes
    ----------
    began : int
        Index of the first check that belongs to it (an estimate).
    alarm : int
        Index of the check that gave it away.
    before, after : float
        Medians on both sides.
    chart : str
        The chart that alarmed first: ``individuals``, ``EWMA`` or ``CUSUM``.
    """

    began: int
    alarm: int
    before: float
    after: float
    chart: str = ""


@dataclass(frozen=True, slots=True)
class Crossing:
    """When a line meets a limit; `latest` None: it may never do."""

    likely: float
    earliest: float
    latest: float | None


@dataclass(frozen=True, slots=True)
class Drift:
    """A straight trend: per month with its 95 % interval, and where its line begins and ends."""

    per_month: float
    low: float
    high: float
    days: tuple[float, float]
    values: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Series:
    """One measure of one scanner over time.

    Attributes
    ----------
    days : tuple of float
        Time of each check.
    starts : tuple of int
        Where the series begins anew because of an event that changed it.
    changes : tuple of Change
        In time order, each not explained by an event.
    normal : (low, high) or None
        Where single values of the present stretch lie but once in `run_length` checks, as far as
        the checks before the last change can tell.
    drift : Drift or None
        Where a trend is shown since the last event or abrupt change.
    crossing : Crossing or None
        In days, where a limit was given and the trend is significant.
    limit : float or None
        The limit that `crossing` speaks of.
    beyond : bool
        Whether the present level lies on the wrong side of it.
    line_from : int
        Index of the check from where on a straight line tells the values.
    left_out : int
        Checks that do not compare: made by an older method or at another dpi.
    method : MethodChange or None
        Where scans were measured anew by another method: what that alone has changed.
    bounds : tuple of Bounds
        Of each value; empty where all are sound.
    """

    key: Key
    unit: str
    dates: tuple[str, ...]
    days: tuple[float, ...]
    values: tuple[float, ...]
    uncertainties: tuple[float | None, ...]
    starts: tuple[int, ...]
    changes: tuple[Change, ...]
    normal: tuple[float, float] | None
    drift: Drift | None
    crossing: Crossing | None
    limit: float | None
    left_out: int
    state: State
    beyond: bool = False
    line_from: int = 0
    method: MethodChange | None = None
    bounds: tuple[Bounds, ...] = ()


@dataclass(frozen=True, slots=True)
class MethodChange:
    """What another method gives of the same scans: a change of the measure, not of the scanner.

    Attributes
    ----------
    before, now : int
        Versions of the method.
    checks : int
        How many were measured by both.
    shift, least, most : float
        New less old value, in the measure's unit: the median, and the ends.
    """

    before: int
    now: int
    checks: int
    shift: float
    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Shift:
    """A measure before and after an event, with the interval of the difference.

    All intervals of an event hold together, those of measures that did not change among them.
    """

    key: Key
    unit: str
    before: float
    after: float
    difference: float
    low: float
    high: float
    verdict: Literal["better", "worse", "different"]


@dataclass(frozen=True, slots=True)
class StreakLife:
    """A streak followed over the checks by its place.

    Attributes
    ----------
    axis, polarity : str
        As for `scanqa.model.Streak`.
    at_mm, contrast_percent : float
        Median place; largest contrast.
    visible : bool
        Whether an eye would have seen it in any check.
    first, last : str
        Times of the first and the last check that show it.
    since_start : bool
        Whether the first check of blank paper shows it already.
    gone, again : str
        Time of the first check that does not show it any more; of the second one that does.
    """

    axis: str
    polarity: str
    at_mm: float
    contrast_percent: float
    visible: bool
    first: str
    last: str
    since_start: bool
    gone: str
    again: str = ""


@dataclass(frozen=True, slots=True)
class Effect:
    """What an event changed: measures that moved by more than their scatter, streaks that went.

    Attributes
    ----------
    compared : int
        Measures with checks before and after.
    came, went : tuple of StreakLife
        Streaks that the checks beside the event show only after it, or only before.
    small : int
        Shifts that were shown, but are too small to matter.
    together : float
        Confidence that every interval holds its truth.
    """

    event: Event
    shifts: tuple[Shift, ...]
    compared: int
    small: int
    came: tuple[StreakLife, ...] = ()
    went: tuple[StreakLife, ...] = ()
    together: float = 0.95


LampSignName = Literal["light", "settle", "balance", "tint", "haze"]
LampState = Literal["falls slowly", "falls at once", "rises", "worse", "same", "lower", "unknown"]


@dataclass(frozen=True, slots=True)
class LampSign:
    """One thing that white calibration cannot hide.

    Attributes
    ----------
    name : str
        Light index, settle time, channel balance, neutrality, stray light.
    first, now : float or None
        Level of the first checks, or of 1 for a ratio, and the present one.
    since : str
        Date of the change; empty if there is none.
    channel : str
        The channel that moved, for the balance.
    """

    name: LampSignName
    state: LampState
    first: float | None = None
    now: float | None = None
    since: str = ""
    channel: str = ""


@dataclass(frozen=True, slots=True)
class Lamp:
    """Lamp health: the rule of ``lamp.toml`` that fits, and the signs that it rests on.

    `half_in_months`: until half of the first light is left, by the trends of its channels.
    """

    rule: str
    signs: tuple[LampSign, ...]
    half_in_months: Crossing | None = None


@dataclass(frozen=True, slots=True)
class Health:
    """All series of a scanner, the ones that call for attention first.

    Attributes
    ----------
    checks : int
        That are looked at; `on_record` counts all.
    span : (first, last)
        Times of the first and the last check; empty without any.
    """

    scanner: str
    series: tuple[Series, ...]
    events: tuple[Event, ...]
    effects: tuple[Effect, ...]
    streaks: tuple[StreakLife, ...]
    lamp: Lamp | None
    checks: int
    on_record: int
    span: tuple[str, str]


@dataclass(frozen=True, slots=True)
class NewsItem:
    """One thing that is new, or gone, since the check before.

    Attributes
    ----------
    numbers, terms : dict
        What its sentence says: values and ids.
    """

    kind: Literal[
        "new-streak", "streak-gone", "more-streaks-new", "more-streaks-gone",
        "new-mark", "mark-gone", "more-marks-new", "more-marks-gone", "measure", "outcome",
    ]  # fmt: skip
    numbers: dict[str, float] = field(default_factory=dict)
    terms: dict[str, str] = field(default_factory=dict)
    key: Key | None = None


@dataclass(frozen=True, slots=True)
class News:
    """What is new since the check of a day; no items if nothing is."""

    since: str
    items: tuple[NewsItem, ...]


@dataclass(frozen=True, slots=True)
class Past:
    """What earlier records say about a scanner that was just measured."""

    health: Health
    news: News | None
