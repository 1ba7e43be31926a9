"""A comparison to what its page shows: the verdict in words, differences by family, curves."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.catalogue import CATALOGUE, FAMILIES
from scanqa.model import Curve, Record
from scanqa.model.compared import Comparison, Difference, Profile
from scanqa.report.card.places import glass_of
from scanqa.report.comparison.by_use import (
    UseBeside,
    better_for,
    buyer_sentence,
    use_rows,
)
from scanqa.report.comparison.strips import strip
from scanqa.report.view import Cell, Gap, Glass, Lines, Table
from scanqa.words.numbers import inside, interval, joined, label, number, sentence_case, signed
from scanqa.words.of_comparison import (
    comparison_notes,
    condition_rows,
    gap_words,
    level_words,
    pairs_note,
    profile_words,
    side_words,
    size_note,
    together_words,
    value_rows,
    value_sentence,
)
from scanqa.words.of_history import key_title

DIFFER = ("first is better", "second is better", "different")


@dataclass(frozen=True, slots=True)
class Row:
    """One measure on both sides."""

    what: str
    note: str
    first: str
    second: str
    difference: str
    interval: str
    strip: str
    verdict: str
    tone: str


@dataclass(frozen=True, slots=True)
class FamilyRows:
    """The rows of one family of measures: those that differ, and the others, which are folded."""

    title: str
    rows: tuple[Row, ...]
    alike: tuple[Row, ...]


@dataclass(frozen=True, slots=True, eq=False)
class SidesView:
    """What the comparison page shows, in reading order."""

    first: str
    second: str
    kind: str
    word: str
    tone: str
    sentence: str
    together: str
    level: str
    uses: tuple[UseBeside, ...]
    glasses: tuple[tuple[str, Glass], ...]
    sides: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    value: Table | None
    value_sentence: str
    pictures: tuple[Lines, ...]
    families: tuple[FamilyRows, ...]
    gaps: tuple[Gap, ...]
    conditions: Table


def sides_view(comparison: Comparison, sides: tuple[Record, Record] | None = None) -> SidesView:
    """All that the page shows; with the newest record of each side also by use."""
    c = comparison
    same_unit = c.sides[0].scanner == c.sides[1].scanner
    better = {
        verdict: [row for row in c.rows if row.verdict == verdict]
        for verdict in ("first is better", "second is better", "different")
    }
    return SidesView(
        first=c.first,
        second=c.second,
        kind="Before and after" if same_unit else "Comparison",
        word=_word_by_use(c, sides) or _word(c, better),
        tone="open" if not any(better.values()) else "fit",
        sentence=" ".join(
            filter(None, (buyer_sentence(c, sides) if sides else "", _sentence(c, better)))
        ),
        together=together_words(c.together),
        level=" ".join(filter(None, (level_words(c), pairs_note(c)))),
        uses=use_rows(c, sides) if sides else (),
        glasses=tuple(_glasses(c, sides)) if sides else (),
        sides=tuple(_sides(c, better)),
        notes=comparison_notes(c),
        value=_side_table("What the price buys", c, value) if (value := value_rows(c)) else None,
        value_sentence=value_sentence(c),
        pictures=tuple(_picture(profile, c) for profile in c.profiles),
        families=tuple(_families(c)),
        gaps=tuple(_gaps(c)),
        conditions=_side_table("How each was measured", c, condition_rows(c)),
    )


def _word_by_use(c: Comparison, sides: tuple[Record, Record] | None) -> str:
    """Who serves more uses; empty where the uses do not tell."""
    first, second = better_for(sides) if sides else ([], [])
    if first and second:
        return "Each is better for some uses"
    if not first and not second:
        return ""
    return f"{c.first if first else c.second} is better for {joined(first or second)}"


def _glasses(c: Comparison, sides: tuple[Record, Record]) -> Iterator[tuple[str, Glass]]:
    for name, record in zip((c.first, c.second), sides, strict=True):
        picture = glass_of(record)
        if picture is not None:
            yield name, picture


def _word(c: Comparison, better: dict[str, list[Difference]]) -> str:
    first, second, other = (bool(better[v]) for v in better)
    if first and second:
        return "Each has its strengths"
    if first or second:
        return f"{c.first if first else c.second} is better"
    if other:
        return "They differ"
    if all(row.verdict == "not compared" for row in c.rows):
        return "Nothing could be compared"
    return "No difference shown"


def _sentence(c: Comparison, better: dict[str, list[Difference]]) -> str:
    compared = [row for row in c.rows if row.difference is not None]
    if not compared:
        return "No measure stands on both sides in a way that compares."
    counts = [len(better[v]) for v in better]
    if not any(counts):
        return (
            f"Over {len(compared)} values no difference is shown that would matter to the work. "
            "That is a result: choose by price, speed or habit."
        )
    # values of one family hang together: each family counts once
    families = [[*dict.fromkeys(_family(row) for row in better[verdict])] for verdict in better]
    parts = [
        f"{name} is better in {joined([inside(_title(f)) for f in mine])}"
        for name, mine in ((c.first, families[0]), (c.second, families[1]))
        if mine
    ]
    if families[2]:
        parts.append(f"they differ in {joined([inside(_title(f)) for f in families[2]])}")
    rest = len({_family(row) for row in compared} - {f for mine in families for f in mine})
    said = "; ".join(parts)
    return f"By measures, {said}; in {rest} other groups no difference is shown that matters."


def _family(row: Difference) -> str:
    return row.key.name.partition(".")[0]


def _sides(c: Comparison, better: dict[str, list[Difference]]) -> Iterator[tuple[str, str]]:
    heads = {
        "first is better": f"{c.first} is better in",
        "second is better": f"{c.second} is better in",
        "different": "They differ in",
    }
    for verdict, head in heads.items():
        names = dict.fromkeys(
            FAMILIES[f].title if (f := row.key.name.partition(".")[0]) in FAMILIES else f
            for row in better[verdict]
        )
        if not names:
            continue
        words = []
        for family in names:
            names_inside = dict.fromkeys(
                label(row.key.name)
                for row in better[verdict]
                if _title(row.key.name.partition(".")[0]) == family
            )
            said = joined([*names_inside])
            words.append(said if said == family else f"{family}: {said}")
        yield head, "; ".join(words) + "."


def _title(family: str) -> str:
    return FAMILIES[family].title if family in FAMILIES else sentence_case(family)


def _families(c: Comparison) -> Iterator[FamilyRows]:
    rows = [row for row in c.rows if row.difference is not None]
    present = dict.fromkeys(row.key.name.partition(".")[0] for row in rows)
    order = [f for f in FAMILIES if f in present] + [f for f in present if f not in FAMILIES]
    for family in order:
        mine = [row for row in rows if row.key.name.partition(".")[0] == family]
        differ = [row for row in mine if row.verdict in DIFFER]
        alike = [row for row in mine if row.verdict not in DIFFER]
        yield FamilyRows(
            _title(family),
            tuple(_row(row, c) for row in differ),
            tuple(_row(row, c) for row in alike),
        )


def _row(row: Difference, c: Comparison) -> Row:
    definition = CATALOGUE[row.key.name]
    assert row.difference is not None
    assert row.low is not None
    assert row.high is not None
    ends, digits = interval(row.low, row.high, definition.digits)
    values = side_words(row)
    notes = []
    if row.unit_of != "stated uncertainties":
        notes.append(f"{row.count} {row.unit_of}")
    if row.least:
        notes.append(size_note(row))
    if row.matters:
        notes.append(f"matters from {number(row.matters, definition.digits)}")
    verdicts = {
        "first is better": (f"{c.first} better", "first-better"),
        "second is better": (f"{c.second} better", "second-better"),
    }
    words, tone = verdicts.get(row.verdict, (row.verdict, ""))
    unit = f", {row.unit}" if row.unit else ""
    return Row(
        f"{key_title(row.key)}{unit}",
        "; ".join(notes),
        values[0],
        values[1],
        signed(row.difference, digits),
        ends,
        strip(row),
        words,
        tone,
    )


def _gaps(c: Comparison) -> Iterator[Gap]:
    reasons: dict[str, list[str]] = {}
    for row in c.rows:
        if row.difference is None:
            reasons.setdefault(gap_words(row, c), []).append(key_title(row.key))
    for reason, names in reasons.items():
        yield Gap(sentence_case(reason), joined([*dict.fromkeys(names)]) + ".")


def _picture(profile: Profile, c: Comparison) -> Lines:
    title, x_label, y_label = profile_words(profile)
    curves = tuple(
        Curve(name, np.array([p[0] for p in side]), np.array([p[1] for p in side]))
        for name, side in zip((c.first, c.second), profile.points, strict=True)
    )
    said = "; ".join(
        f"{curve.label}: "
        + ", ".join(f"{y:.1f} at {x:g}" for x, y in zip(curve.x, curve.y, strict=True))
        for curve in curves
    )
    return Lines(
        title=title,
        caption="Values at these places; the lines between them only lead the eye.",
        alt=f"{y_label} against {x_label}. {said}.",
        x_label=x_label,
        y_label=y_label,
        curves=curves,
    )


def _side_table(caption: str, c: Comparison, rows: Sequence[tuple[str, str, str]]) -> Table:
    cells = tuple((Cell(sentence_case(what)), Cell(one), Cell(other)) for what, one, other in rows)
    return Table(caption, ("What", c.first, c.second), cells)
