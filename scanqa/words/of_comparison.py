"""Comparisons in words: the sentence for the terminal, notes, gaps, what the price buys."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.catalogue import CATALOGUE
from scanqa.model.compared import Comparison, Difference, Profile, SideFacts, Verdict
from scanqa.words.numbers import interval, plain_value, signed
from scanqa.words.of_history import count_words, family_words, key_title

NOT_STATED = "not stated"
GAPS = {
    "one-side": "measured on one side only",
    "bound": "a bound on one side or both",
    "other-print": "another print, or nobody says that it is one: name the sheet with --print",
    "no-uncertainty": "no uncertainty is stated on one side",
}
LEAST_BY_BOUND = "at least so large: a side is only known as a bound"
LEAST_BY_PRINT = "at least so large: the print blurs both alike"
PAIRS = "pairs of places"
ANYWHERE = {  # what a statistic makes of many places
    "highest": "the highest anywhere",
    "lowest": "the lowest anywhere",
    "largest magnitude": "the largest anywhere",
}
PROFILES = {  # title, x axis, y axis
    "gutter": ("Gutter", "Distance from the spine, mm", "Darker than the open page, L*"),
    "light": (
        "Light on a page that rises", "Height over the glass, mm", "Light against the glass, %",
    ),
    "focus": (
        "Focus on a page that rises", "Height over the glass, mm", "SFR50 against the glass, %",
    ),
}  # fmt: skip

Rows = tuple[tuple[str, str, str], ...]  # what, of the first side, of the second


def comparison_sentence(c: Comparison) -> str:
    """Which side is better in what, by family."""
    for_first = _names(c.rows, "first is better")
    for_second = _names(c.rows, "second is better")
    parts = []
    if for_first:
        parts.append(f"{c.first} is better in {for_first}.")
    if for_second:
        parts.append(f"{c.second} is better in {for_second}.")
    different = _names(c.rows, "different")
    if different:
        parts.append(f"They differ in {different}.")
    if not parts:
        if all(row.verdict == "not compared" for row in c.rows):
            return "Nothing could be compared."
        return "No difference shown that would matter to the work."
    return " ".join(parts)


def _names(rows: Sequence[Difference], verdict: Verdict) -> str:
    """Measures of one verdict, by family: ``gutter: reach of ΔL* 2, depth of field; lines: …``."""
    families: dict[str, dict[str, None]] = {}
    for row in rows:
        if row.verdict == verdict:
            family, _, name = family_words(row.key).partition(": ")
            families.setdefault(family, {})[name] = None
    listed = {family: ", ".join(filter(None, names)) for family, names in families.items()}
    return "; ".join(f"{family}: {names}" if names else family for family, names in listed.items())


def gap_words(row: Difference, c: Comparison) -> str:
    """Why a measure is not compared."""
    if row.gap == "per-pixel":
        said = " and ".join("/".join(map(str, side.dpis)) for side in c.sides)
        return f"a value per pixel, and the sides differ in dpi ({said})"
    return GAPS[row.gap]


def side_words(row: Difference) -> tuple[str, str]:
    """The values of both sides, without their unit: a number, a bound, or a dash."""
    digits = CATALOGUE[row.key.name].digits
    return (
        "–" if row.first is None else plain_value(row.first, row.of_first, digits),
        "–" if row.second is None else plain_value(row.second, row.of_second, digits),
    )


def pairs_words(row: Difference) -> str:
    """That a difference is no difference of the medians; empty where it is."""
    return f"the difference is the mean over {row.count} {PAIRS}" if row.unit_of == PAIRS else ""


def row_words(row: Difference, c: Comparison) -> str:
    """A row in one line, for the terminal."""
    what, unit = key_title(row.key), f" {row.unit}" if row.unit else ""
    if row.difference is None or row.low is None or row.high is None:
        return f"{what}: {row.verdict}: {gap_words(row, c)}"
    ends, digits = interval(row.low, row.high, CATALOGUE[row.key.name].digits)
    said = (
        f"{' and '.join(side_words(row))}{unit}",
        f"difference {signed(row.difference, digits)} ({ends}), {row.verdict}",
        pairs_words(row),
        size_note(row),
    )
    return f"{what}: {'; '.join(filter(None, said))}"


def pairs_note(c: Comparison) -> str:
    """How differences of pairs of places stand to the values beside them; empty without any."""
    if all(row.unit_of != PAIRS for row in c.rows):
        return ""
    return (
        "Values are medians over all places of a side. Where pairs of places are named, the "
        "difference is the mean over the same places on both sides, and need not be that of the "
        "medians."
    )


def use_note(row: Difference, statistic: str) -> str:
    """How a difference stands to the two values that a use is judged by; empty if it is theirs."""
    if row.unit_of != PAIRS:
        return size_note(row)
    values = ANYWHERE.get(statistic, "medians")
    where = f"the mean of {row.count} places that both show; the two values are {values}"
    return "; ".join(filter(None, (where, size_note(row))))


def size_note(row: Difference) -> str:
    """What a reader must know of the size of a difference; empty if nothing."""
    if not row.least or row.verdict == "no difference shown":
        return ""
    bound = row.of_first.status != "ok" or row.of_second.status != "ok"
    return LEAST_BY_BOUND if bound else LEAST_BY_PRINT


def together_words(confidence: float) -> str:
    """What the intervals do, in few words: ``hold together at 95 %``."""
    return f"hold together at {100 * confidence:g} %"


def level_words(c: Comparison) -> str:
    """One level for all intervals and verdicts, and where it comes from."""
    return (
        f"All intervals together hold their truths with {100 * c.together:g} % confidence; of "
        f"{c.tried} values tried, each alone has {100 * c.alone:.4g} % (Bonferroni's "
        "inequality; Dunn, J. Am. Stat. Assoc. 56, 52, 1961)."
    )


def profile_words(profile: Profile) -> tuple[str, str, str]:
    """Title, x axis and y axis of a curve."""
    return PROFILES[profile.name]


def comparison_notes(c: Comparison) -> tuple[str, ...]:
    """What a reader of the comparison must know."""
    notes = []
    first, second = c.sides
    if first.records == 1 or second.records == 1:
        notes.append(
            "One qualification on a side: how a scanner scatters from day to day is not in the "
            "intervals. Qualify each twice, the sheet laid anew, to have it in."
        )
    if first.dpis != second.dpis:
        notes.append("The sides were scanned at different dpi; values per pixel are not compared.")
    for has, lacks in ((first, second), (second, first)):
        if missing := sorted(set(has.roles) - set(lacks.roles)):
            notes.append(
                f"{lacks.scanner} has no scan of this kind: {', '.join(missing)}; what rests on it "
                "is not compared."
            )
    if first.lossy or second.lossy:
        notes.append("A side was delivered with lossy compression, which hides noise and detail.")
    return tuple(notes)


def condition_rows(c: Comparison) -> Rows:
    """How both sides were measured, row by row."""
    first, second = c.sides
    rows = [
        ("measured", "; ".join(first.days), "; ".join(second.days)),
        ("scans", _counted(first.roles), _counted(second.roles)),
        ("dpi", _dpi_words(first), _dpi_words(second)),
    ]
    for name in dict.fromkeys((*first.facts, *second.facts)):
        rows.append((name, first.facts.get(name, ""), second.facts.get(name, "")))
    stated = ((what, one or NOT_STATED, other or NOT_STATED) for what, one, other in rows)
    return tuple(row for row in stated if row[1:] != (NOT_STATED, NOT_STATED))


def _dpi_words(side: SideFacts) -> str:
    return " and ".join(map(str, side.dpis))


def _counted(roles: Sequence[str]) -> str:
    return ", ".join(
        f"{roles.count(role)} × {role}" if roles.count(role) > 1 else role
        for role in dict.fromkeys(roles)
    )


# ----------------------------------------------------------------------------------- value


def value_rows(c: Comparison) -> Rows:
    """Price and hours beside what they buy; none if neither was given."""
    if c.costs is None:
        return ()
    first, second = c.costs
    better = _better_counts(c)
    table = [("measures in which it is better", str(better[0]), str(better[1]))]
    if first.price is not None and second.price is not None:
        table.append(("price", f"{first.price:g}", f"{second.price:g}"))
    if first.hours is not None and second.hours is not None:
        table.append(("hours for the job", f"{first.hours:g}", f"{second.hours:g}"))
    return tuple(table)


def value_sentence(c: Comparison) -> str:
    """What follows for a buyer; empty if nothing was given."""
    if c.costs is None:
        return ""
    called = (c.first, c.second)
    prices, hours = [cost.price for cost in c.costs], [cost.hours for cost in c.costs]
    said = []
    if prices[0] is not None and prices[1] is not None:
        said.append(_price_words(called, (prices[0], prices[1]), _better_counts(c)))
    if hours[0] is not None and hours[1] is not None and hours[0] != hours[1]:
        quick = int(hours[1] < hours[0])
        said.append(f"{called[quick]} saves {abs(hours[0] - hours[1]):g} hours.")
        gap = (prices[quick] or 0.0) - (prices[1 - quick] or 0.0)
        if None not in prices and gap > 0:
            hour = gap / abs(hours[0] - hours[1])
            said.append(f"Each hour saved costs {hour:.3g} of the price.")
    return " ".join(said)


def _better_counts(c: Comparison) -> list[int]:
    """Measures in which each side is better."""
    verdicts: tuple[Verdict, Verdict] = ("first is better", "second is better")
    return [len({row.key.name for row in c.rows if row.verdict == v}) for v in verdicts]


def _price_words(
    called: tuple[str, str], prices: tuple[float, float], better: Sequence[int]
) -> str:
    if prices[0] == prices[1]:
        return "Both cost the same."
    dear = int(prices[1] > prices[0])
    gap = f"{abs(prices[0] - prices[1]):g} more"
    if not better[dear]:
        return f"{called[dear]} costs {gap} and is shown to be better in nothing that matters."
    other = f"; the cheaper is better in {better[1 - dear]}" if better[1 - dear] else ""
    return f"{called[dear]} costs {gap} and is better in {count_words(better[dear])}{other}."
