"""A fleet to what its page shows: strings, and the same scanners in several orders."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from scanqa.model.fleet import FEWEST_OF_A_MODEL, Call, Fleet, UnitRow
from scanqa.report.view import Cell, Table
from scanqa.words.numbers import capital, joined
from scanqa.words.of_decision import TITLES, decided_word
from scanqa.words.of_fleet import (
    CAUTION,
    HELPED,
    STATES,
    WHAT_TO_DO,
    apart_words,
    budget_lines,
    call_heading,
    call_sentences,
    cost_words,
    due_words,
    fleet_sentence,
    fleet_title,
    lamp_end_words,
    model_words,
    news_said,
    repair_words,
    since_words,
    trouble_lines,
)
from scanqa.words.of_identity import day_words

FIRST_CALLS = 6  # on the first screen; the rest is folded below them
NOBODY_SAYS = "not noted"


@dataclass(frozen=True, slots=True)
class CallView:
    """A scanner that needs a hand; `link` is the id of its row."""

    scanner: str
    link: str
    heading: str
    where: str
    sentences: tuple[str, ...]
    cost: str
    since: str
    tone: str


@dataclass(frozen=True, slots=True)
class UnitView:
    """A scanner in the list of all; `pages` are (words, address)."""

    id: str
    scanner: str
    unit: str
    decision: str
    checks: str
    state: str
    tone: str
    pages: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Scanners under one heading of an order: (name, id, words)."""

    heading: str
    units: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class Order:
    """All scanners in one order."""

    id: str
    title: str
    result: str
    groups: tuple[Group, ...]


@dataclass(frozen=True, slots=True)
class Room:
    """A folded section: what it says when closed, and what is in it."""

    id: str
    title: str
    result: str
    table: Table | None = None
    lines: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FleetView:
    """What the page shows, in reading order."""

    when: str
    title: str
    tone: str
    sentence: str
    trouble: tuple[str, ...]
    calls: tuple[CallView, ...]
    more_calls: tuple[CallView, ...]
    todo: str
    caution: str
    rooms: tuple[Room, ...]
    orders: tuple[Order, ...]
    units: tuple[UnitView, ...]


def fleet_view(
    fleet: Fleet, pages: Mapping[str, Sequence[tuple[str, str]]] | None = None
) -> FleetView:
    """Everything that the page shows.

    Parameters
    ----------
    pages : mapping from scanner to sequence of (words, address), optional
        Pages of a scanner that lie beside this one.
    """
    ids = {row.identity.scanner: f"unit-{at}" for at, row in enumerate(fleet.units, 1)}
    by_name = {row.identity.scanner: row for row in fleet.units}
    calls = [_call(call, by_name[call.scanner], ids) for call in fleet.calls]
    acts = any(call.decision is not None for call in fleet.calls)
    retired = f", {len(fleet.retired)} retired" if fleet.retired else ""
    return FleetView(
        f"{day_words(fleet.today)}, {_count(len(fleet.units), 'scanner')} in use{retired}",
        fleet_title(fleet),
        "unfit" if calls else "fit",
        fleet_sentence(fleet),
        tuple(map(capital, trouble_lines(fleet))),
        tuple(calls[:FIRST_CALLS]),
        tuple(calls[FIRST_CALLS:]),
        WHAT_TO_DO if calls else "",
        CAUTION if acts else "",
        tuple(_rooms(fleet, ids)),
        tuple(_orders(fleet, ids)),
        tuple(_unit(row, ids, (pages or {}).get(row.identity.scanner, ())) for row in fleet.units),
    )


def _count(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _call(call: Call, row: UnitRow, ids: Mapping[str, str]) -> CallView:
    return CallView(
        call.scanner,
        ids[call.scanner],
        call_heading(call),
        _place(row),
        tuple(call_sentences(call)),
        cost_words(call),
        since_words(call),
        "unfit" if call.unfit or call.days_left is not None or call.cost >= 1 else "limited",
    )


def _place(row: UnitRow) -> str:
    return ", ".join(filter(None, (row.identity.made, row.identity.site)))


def _decided(row: UnitRow) -> str:
    """The decision in few words; its title may name what is open at length."""
    return TITLES.get(row.decision.decision, row.decision.decision) if row.last else ""


def _unit(row: UnitRow, ids: Mapping[str, str], pages: Sequence[tuple[str, str]]) -> UnitView:
    who = row.identity
    checks = "no check yet"
    if row.last:
        checks = f"{_count(row.checks, 'check')}, last {day_words(row.last[:10])}"
    if row.lost:
        checks += f", {row.lost} not readable"
    named = (_place(row), f"serial {who.serial}" if who.serial else "", who.lamp)
    return UnitView(
        ids[who.scanner],
        who.scanner,
        ", ".join(filter(None, named)) or "model and place not noted",
        _decided(row),
        checks,
        STATES[row.state],
        {"called": "unfit", "seen once": "limited", "steady": "fit"}.get(row.state, "not-judged"),
        tuple(pages),
    )


# ----------------------------------------------------------------------------------- rooms


def _rooms(fleet: Fleet, ids: Mapping[str, str]) -> list[Room]:
    """The folded sections, in order."""
    late = sum(due.late > 0 for due in fleet.due)
    return [
        _listed(
            "due", "Checks that are due", f"{late} late, {len(fleet.due) - late} within a week",
            ("Scanner", "Last check", "Due", "How late"),
            [
                (_link(d.scanner, ids), day_words(d.last) if d.last else "none",
                 day_words(d.on), due_words(d))
                for d in fleet.due
            ],
        ),
        _by_decision(fleet),
        _listed(
            "news", "What changed since last month",
            _count(len(fleet.news), "thing") if fleet.news else "nothing",
            ("Scanner", "Day", "What"),
            [(_link(n.scanner, ids), day_words(n.at[:10]), news_said(n)) for n in fleet.news],
        ),
        _outliers(fleet, ids),
        _listed(
            "lamps", "Lamps by when half of the light is gone",
            f"{len(fleet.lamps)} fading" if fleet.lamps else "no lamp is shown to fade",
            ("Scanner", "Light left", "Half of it gone", "Lamp"),
            [
                (_link(each.scanner, ids), *map(capital, lamp_end_words(each)),
                 each.lamp or NOBODY_SAYS)
                for each in fleet.lamps
            ],
        ),
        _listed(
            "repairs", "What was done, and whether it helped", _repairs_said(fleet),
            ("Scanner", "Day", "What was done", "Whether it helped"),
            [
                (_link(r.effect.event.scanner, ids), day_words(r.effect.event.at[:10]),
                 capital(r.effect.event.words),
                 Cell(HELPED[r.helped], (repair_words(r),) if r.effect.compared else ()))
                for r in fleet.repairs
            ],
        ),
        Room(
            "budget", "How sure a call is", "at most one false call in three months",
            None, tuple(budget_lines(fleet.budget)),
        ),
    ]  # fmt: skip


def _link(scanner: str, ids: Mapping[str, str]) -> Cell:
    return Cell(scanner, link=ids.get(scanner, ""))


def _listed(
    id: str, title: str, result: str, head: tuple[str, ...],
    rows: Sequence[tuple[Cell | str, ...]],
) -> Room:  # fmt: skip
    """A section that is a table; words alone where it would be empty."""
    if not rows:
        return Room(id, title, result, None, ("Nothing to list.",))
    cells = tuple(
        tuple(cell if isinstance(cell, Cell) else Cell(cell) for cell in row) for row in rows
    )
    return Room(id, title, result, Table(f"{title}: the list", head, cells))


def _by_decision(fleet: Fleet) -> Room:
    counts: dict[str, int] = {}
    for row in fleet.units:
        if row.last:
            counts[row.decision.decision] = counts.get(row.decision.decision, 0) + 1
    ordered = sorted(counts, key=lambda word: -counts[word])
    said = joined([f"{counts[word]} {decided_word(word).lower()}" for word in ordered[:2]])
    rows = [(decided_word(word), str(counts[word])) for word in ordered]
    return _listed(
        "decisions", "Scanners by what is decided", said or "no check yet",
        ("Decision", "Scanners"), rows,
    )  # fmt: skip


def _outliers(fleet: Fleet, ids: Mapping[str, str]) -> Room:
    compared = [known for known in fleet.models if known.compared]
    few = len(fleet.models) - len(compared)
    result = f"{len(fleet.apart)} in {_count(len(compared), 'model')}"
    if not compared:
        result = f"no model is known by {FEWEST_OF_A_MODEL} scanners yet"
    room = _listed(
        "apart", "Scanners unlike the others of their model", result,
        ("Scanner", "Model", "How it differs"),
        [(_link(a.scanner, ids), a.model, apart_words(a)) for a in fleet.apart],
    )  # fmt: skip
    notes = [f"{k.model}: {model_words(k, FEWEST_OF_A_MODEL)}." for k in fleet.models[:20]]
    if few:
        notes.append(f"{few} of {len(fleet.models)} models have too few scanners to compare.")
    return Room(room.id, room.title, room.result, room.table, (*room.lines, *notes))


def _repairs_said(fleet: Fleet) -> str:
    if not fleet.repairs:
        return "nothing was noted in a year"
    helped = sum(repair.helped == "helped" for repair in fleet.repairs)
    return f"{helped} of {len(fleet.repairs)} helped"


# ---------------------------------------------------------------------------------- orders


def _orders(fleet: Fleet, ids: Mapping[str, str]) -> list[Order]:
    """All scanners by what is decided, place, model and last check; by name they stand below."""
    by_site: Callable[[UnitRow], str] = lambda row: row.identity.site or NOBODY_SAYS  # noqa: E731
    return [
        _order("by-decision", "By what is decided", fleet, ids, lambda r: _decided(r) or "no check",
               _place),
        _order("by-place", "By place", fleet, ids, by_site, _decided),
        _order("by-model", "By model", fleet, ids,
               lambda r: r.identity.made or NOBODY_SAYS, _decided),
        _order("by-check", "By last check, the oldest first", fleet, ids,
               lambda r: f"{r.last[:7]}", _decided),
    ]  # fmt: skip


def _order(
    id: str, title: str, fleet: Fleet, ids: Mapping[str, str],
    key: Callable[[UnitRow], str], words: Callable[[UnitRow], str],
) -> Order:  # fmt: skip
    rows = sorted(fleet.units, key=key)
    groups = []
    for heading, some in groupby(rows, key):
        units = tuple((row.identity.scanner, ids[row.identity.scanner], words(row)) for row in some)
        shown = month_words(heading) if id == "by-check" else heading
        groups.append(Group(capital(shown), units))
    return Order(id, title, _count(len(groups), "group"), tuple(groups))


def month_words(month: str) -> str:
    """``November 2026`` of ``2026-11``."""
    return day_words(f"{month}-01").removeprefix("1 ") if month else "never checked"
