from dataclasses import replace
from math import ceil, floor

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanqa.catalogue import CATALOGUE, FAMILIES, Family
from scanqa.model import (
    Criterion,
    Curve,
    Diagnosis,
    Evidence,
    Measurement,
    Reason,
    Streak,
    not_measurable,
)
from scanqa.report.build import date_words, page
from scanqa.report.sections.book_tables import fit_table
from scanqa.report.sections.tables import ranked
from scanqa.words.numbers import glued, label, number, printed, significant, value_text
from tests.report import synthetic
from tests.report.synthetic import changed


def spaces(text):
    return text.replace("\u202f", " ").replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("name", "value", "uncertainty", "words"),
    [
        ("sharpness.sfr50", 4.3219, 0.0213, "4.322 ± 0.021 cy/mm"),
        ("geometry.dpi_across", 300.4213, 0.0041, "300.4 ± < 0.1 dpi"),
        ("geometry.dpi_across", 300.4213, 1e-9, "300.4 ± < 0.1 dpi"),
        ("geometry.skew", -0.4, 0.01, "−0.400 ± 0.010°"),
        ("sharpness.peak", 1.02, None, "1.02"),
        ("tone.clipped", -0.0001, None, "0.000 %"),
        ("glass.marks", 2.0, 0.0, "2"),
        ("streaks.column_pattern", 0.0482, 0.002, "0.0482 ± 0.0020 % rms"),
    ],
)
def test_numbers_have_unit_sign_and_uncertainty(name, value, uncertainty, words):
    assert spaces(printed(value, uncertainty, name)) == words


def test_status_is_said_in_words():
    bound = Measurement("sharpness.sfr50", 4.0, 0.1, "at-least", "print", reason_kind="print")
    assert spaces(value_text(bound)) == "at least 4.0 ± 0.1 cy/mm"
    none = not_measurable("sharpness.sfr50", Reason("no-detail", "torn"))
    assert value_text(none) == "not measurable"
    most = replace(bound, status="at-most")
    assert spaces(value_text(most)) == "at most 4.0 ± 0.1 cy/mm"
    span = replace(bound, status="between", low=3.5, high=4.25)
    assert spaces(value_text(span)) == "3.50 to 4.25 cy/mm"


@given(st.floats(-1e6, 1e6), st.integers(1, 5))
def test_significant_digits_are_right(value, digits):
    read = float(significant(value, digits).replace("−", "-"))
    # half a step of the last digit shown, or of the sixth decimal
    assert abs(read - value) <= max(0.5000001 * abs(value) * 10.0 ** (1 - digits), 0.5e-6)


@given(st.floats(-1e3, 1e3), st.integers(0, 3))
def test_no_minus_before_zero(value, digits):
    text = number(value, digits)
    assert not (text.startswith("−") and float(text[1:]) == 0)


def test_every_measure_has_a_label_without_underscores():
    labels = {name: label(name) for name in CATALOGUE}
    assert all(words and "_" not in words for words in labels.values())
    by_family = {(name.partition(".")[0], words) for name, words in labels.items()}
    assert len(by_family) == len(CATALOGUE)  # two measures of a family never share a label


def test_numbers_stay_with_their_units():
    assert (
        glued("from 1.5 mm up, 8 % and 20 minutes")
        == "from 1.5\u00a0mm up, 8\u00a0% and 20 minutes"
    )


def test_dates_read_as_dates_and_other_words_stay():
    assert date_words("2026-11-05T10:20:00+00:00") == "5 November 2026, 10:20 UTC"
    assert date_words("last spring") == "last spring"


def result(whole, family):
    """What stays of a folded section."""
    (section,) = [s for s in whole.sections if s.id == f"section-{family}"]
    return spaces(section.result)


def test_the_worst_place_is_the_lowest_where_higher_is_better():
    record = synthetic.heron()
    values = [
        m for m in record.record.named("sharpness.effective_dpi")
        if m.direction == "travel" and m.channel == "luma"
    ]  # fmt: skip
    lowest = min(values, key=lambda m: m.value)
    (section,) = [s for s in page(record).sections if s.id == "section-sharpness"]
    (cell,) = [
        row[1] for table in section.tables for row in table.rows
        if row[0].text == "Effective dpi along travel"
    ]  # fmt: skip
    x, y = lowest.at_mm
    assert f"worst at x {x:.0f}, y {y:.0f} mm" in spaces(" ".join(cell.small))
    assert spaces(cell.text).startswith(f"{np.median([m.value for m in values]):.1f} ±")


def test_the_largest_colour_shift_counts_whatever_its_sign():
    record = synthetic.heron()
    largest = max((m.value for m in record.record.named("colour.registration")), key=abs)
    assert largest < 0
    assert f"largest shift −{-largest:.2f}" in result(page(record), "colour")


def effective(bounded):
    """The result where `bounded` of the 35 places are lower bounds, the lowest first."""
    found = synthetic.heron()
    places = sorted(
        (
            m for m in found.record.named("sharpness.effective_dpi")
            if (m.direction, m.channel) == ("across", "luma")
        ),
        key=lambda m: m.value,
    )  # fmt: skip
    least = {"status": "at-least", "reason": "rough print", "reason_kind": "print"}
    sound = {"status": "ok", "reason": "", "reason_kind": None}
    made = [replace(m, **(least if at < bounded else sound)) for at, m in enumerate(places)]
    return result(page(changed(found, measures=tuple(made))), "sharpness"), [
        m.value for m in places
    ]


def test_a_median_over_lower_bounds_is_a_bound_or_a_range():
    # 35 places: the median is the 18th from below. Where 18 or more are lower bounds it is one.
    # Where fewer are, each of them may lie above it: the median lies between the 18th and the
    # place as many steps further up.
    text, values = effective(18)
    assert text.startswith(f"detail for at least {10 * (values[17] // 10):.0f} ±")
    text, values = effective(10)
    assert text.startswith(
        f"detail for {floor(10 * values[17]) / 10} to {ceil(10 * values[27]) / 10} dpi"
    )
    text, values = effective(0)
    assert text.startswith(f"detail for {values[17]:.1f} ±")


def test_scans_at_different_dpi_are_not_thrown_together():
    record = synthetic.heron()
    scans = (*record.record.scans, synthetic.facts("fine.tif", "bed-sheet", dpi=(600.0, 600.0)))
    more = Measurement(
        "sharpness.effective_dpi",
        500.0,
        5.0,
        scan="fine.tif",
        direction="travel",
        channel="luma",
        edge_kind="printed",
    )
    both = changed(record, scans=scans, measures=(*record.record.measures, more))
    (section,) = [s for s in page(both).sections if s.id == "section-sharpness"]
    rows = {
        spaces(row[0].text): spaces(row[1].text) for table in section.tables for row in table.rows
    }
    assert rows["Effective dpi along travel, at 600 dpi"] == "500.0 ± 5.0 dpi"
    assert "Effective dpi along travel, at 300 dpi" in rows


def test_both_scans_count_for_a_side():
    record = synthetic.heron()
    more = Measurement("edges.shadow_left", 7.8, 0.2, scan=synthetic.BLANK_2)
    scans = tuple(
        replace(s, dpi=(600.0, 600.0)) if s.file == more.scan else s for s in record.record.scans
    )
    both = changed(record, scans=scans, measures=(*record.record.measures, more))
    (edges,) = [s for s in page(both).sections if s.id == "section-edges"]
    (table,) = [t for t in edges.tables if "four sides" in t.caption]
    assert spaces(table.rows[0][1].text) == "7.30 ± 0.63 mm"  # between 6.8 and 7.8
    assert "median of 2 values, 6.80 to 7.80 mm" in spaces(table.rows[0][1].small[0])


def test_visible_streaks_come_first_and_keep_their_numbers_in_the_picture():
    def streak(at, contrast, visible):
        return Streak(at, at, 80, contrast, 0.4, "dark", ("luma",), (0, 9), 9, visible, "s")

    found = [streak(1, 0.2, False), streak(5, 0.6, True), streak(9, 0.9, True)]
    assert [s.at_mm for s in ranked(found)] == [9, 5, 1]


def test_what_is_missing_is_named_with_its_reason():
    gaps = {gap.what: gap.why for gap in page(synthetic.heron()).gaps}
    assert gaps["Black"] == "no dark scan was given"
    assert gaps["Dead margin right, dead margin top and dead margin bottom"].startswith("no edge")
    assert gaps["SFR50 along travel"] == "a fold crosses the edge"
    least = {gap.what: gap.why for gap in page(synthetic.one_blank()).gaps}
    assert "open at white pages" in least["Gutter"]
    assert {"Sharpness", "Lines", "Marks on the glass"} <= set(least)


def test_a_new_family_appears_without_a_change_to_the_page(monkeypatch):
    row = replace(
        CATALOGUE["noise.total"], name="wobble.amount", label="Amount", unit="µm", digits=2,
        sentence="How much it wobbles.", per="bed",
    )  # fmt: skip
    family = Family("wobble", "Wobble", "What wobbles.", "a wobbly scan", ("blank",), False, (row,))
    monkeypatch.setitem(CATALOGUE, row.name, row)
    monkeypatch.setitem(FAMILIES, family.name, family)
    x = np.linspace(0, 1, 5)
    found = synthetic.one_blank()
    whole = page(
        changed(
            found,
            measures=(*found.record.measures, Measurement("wobble.amount", 3.25, 0.04)),
            evidence=(Evidence("wobble", "curves", "Wobble", curves=(Curve("", x, x),)),),
        )
    )
    (section,) = [s for s in whole.sections if s.id == "section-wobble"]
    assert section.title == "Wobble"
    assert spaces(section.tables[0].rows[0][1].text) == "3.250 ± 0.040 µm"
    assert section.tables[0].rows[0][0].small == ("How much it wobbles.",)
    assert section.result == "amount 3.250\u00a0±\u00a00.040\u202fµm"
    assert section.pictures == ()  # nothing found says nothing in a picture


def test_a_family_without_any_value_is_named_as_a_gap_and_has_no_section():
    reason = "the noise is smaller than the steps of the codes"
    missing = tuple(
        Measurement(
            "colour.registration",
            None,
            status="not-measurable",
            reason=reason,
            channel=channel,
            reason_kind="rounding",
        )
        for channel in ("red", "blue")
    )
    record = synthetic.one_blank()
    whole = page(changed(record, measures=(*record.record.measures, *missing)))
    assert [section.id for section in whole.sections] == ["section-tone"]
    assert {gap.what: gap.why for gap in whole.gaps}["Colour registration"] == reason
    assert "colour registration" in whole.card.open


def test_many_measures_missing_for_one_reason_share_a_line():
    names = [f"gutter.light_at_{height}mm_height" for height in (1, 2, 5)]
    missing = [not_measurable(n, Reason("no-scan", "no ramp")) for n in names]
    record = synthetic.heron()
    kept = tuple(m for m in record.record.measures if "_height" not in m.name)
    whole = page(changed(record, measures=(*kept, *missing)))
    (section,) = [s for s in whole.sections if s.id == "section-gutter"]
    table = section.tables[0]
    assert not [row for row in table.rows if row[0].text.startswith("Light at")]
    (note,) = table.notes
    assert spaces(note).startswith("Not measurable (Light at 1 mm height, Light at 2 mm height,")
    assert note.endswith("): no ramp.")


def test_nothing_found_is_said_and_not_left_out():
    record = synthetic.one_blank()
    looked = (
        Measurement("streaks.strongest_visible", 0.0, 0.01),
        Measurement("glass.marks", 0.0, 0.0),
    )
    whole = page(changed(record, measures=(*record.record.measures, *looked)))
    assert result(whole, "streaks") == "none found"
    assert result(whole, "glass") == "none found"
    remarks = {section.id: section.remarks for section in whole.sections}
    assert remarks["section-streaks"] == ("No line was found.",)
    assert remarks["section-glass"] == ("No mark was found on the glass.",)


def test_a_curve_left_over_gets_the_whole_row():
    x = np.linspace(0, 1, 5)
    curves = [Evidence("tone", "curves", str(at), curves=(Curve("", x, x),)) for at in range(3)]
    record = synthetic.one_blank()
    found = Diagnosis(cause="levels", severity="warning", rests_on=("tone.white",))
    whole = page(changed(record, evidence=curves, findings=(found,)))
    (section,) = [s for s in whole.sections if s.id == "section-tone"]
    assert [p.wide for p in section.pictures] == [False, False, True]


def test_criteria_are_counted_by_document():
    fadgi, iso = page(synthetic.heron()).criteria
    assert fadgi.document == "FADGI, 3rd edition (2023), bound general"
    assert fadgi.counts == "1 met, 1 not met and 1 not judged"
    assert fadgi.rows[0].title == "Sampling rate"
    assert iso.counts == "1 not judged"


def test_two_scans_of_one_name_keep_apart():
    record = synthetic.one_blank()
    files = page(changed(record, scans=record.record.scans * 2)).files
    assert [f.id for f in files] == ["scan-1", "scan-2"]


def table_of(section_id, caption):
    (section,) = [s for s in page(synthetic.heron()).sections if s.id == section_id]
    (table,) = [t for t in section.tables if t.caption == caption]
    return table


def test_what_fits_is_one_table_with_what_is_lost_and_what_recovers_it():
    table = table_of("section-edges", "What still fits on the bed")
    rows = {row[0].text: (spaces(row[1].text), *map(spaces, row[1].small)) for row in table.rows}
    assert rows["An A4 sheet"] == ("nothing lost", "An A4 sheet fits, laid upright")
    assert rows["A 12-inch record sleeve"][0] == "25.90 ± 0.30 mm lost"
    assert "turned by 180°" in rows["A 12-inch record sleeve"][1]
    assert {spaces(row[0].small[0]) for row in table.rows} >= {"297 × 420 mm", "315 × 315 mm"}


def test_a_sheet_too_wide_and_too_high_says_what_each_side_loses():
    """A3 is 297 × 420 mm (ISO 216): on 210.3 × 298.8 mm of bed both sides lose."""
    lost = [
        Measurement(
            "edges.lost_a3", 86.7 + 121.2, 0.05, reason="laid upright", reason_kind="method"
        )
    ]
    usable = [
        Measurement("edges.usable_width", 210.3, 0.04),
        Measurement("edges.usable_height", 298.8, 0.04),
    ]
    (table,) = fit_table(lost, {}, usable)
    assert spaces(table.rows[0][1].text) == "86.7 mm of the width and 121.2 mm of the height lost"
    (table,) = fit_table(lost, {}, usable[:1])
    assert spaces(table.rows[0][1].text) == "207.9 ± 0.1 mm lost"


def test_the_gutter_is_told_by_distance_and_by_height():
    table = table_of("section-gutter", "The open page by its distance from the spine")
    assert table.head == ("From the spine", "Darker by", "Height of the page", "Fine detail left")
    rows = {spaces(row[0].text): [spaces(cell.text) for cell in row[1:]] for row in table.rows}
    assert rows["5 mm"] == ["9.20 ± 0.50 L*", "0.88 ± 0.10 mm", "95.6 ± 2.0 %"]
    assert rows["20 mm"] == ["0.20 ± 0.50 L*", "–", "–"]  # no lift is given there
    (note,) = map(spaces, table.notes)
    assert note.startswith("At the spine the page is 2.4 mm up, within the 4.1 mm of depth")
    above = table_of("section-gutter", "Light and detail by height above the glass")
    assert [spaces(row[0].text) for row in above.rows] == ["1 mm", "2 mm", "5 mm", "10 mm"]
    assert [spaces(cell.text) for cell in above.rows[1]] == ["2 mm", "80.1 ± 0.6 %", "80.8 ± 2.0 %"]
    assert spaces(above.rows[3][2].text) == "–"


def test_criteria_that_share_a_reason_share_a_row_and_their_source_is_said_once():
    def unjudged(quantity, table):
        return Criterion(
            document="x", quantity=quantity, severity="note", verdict="not judged",
            heading="X, books", reason="needs a target", source=f"X, {table}, quoted in a text",
        )  # fmt: skip

    findings = (unjudged("mean", "table 1"), unjudged("highest", "table 2"))
    (document,) = page(changed(synthetic.heron(), findings=findings)).criteria
    assert [(row.title, row.reason) for row in document.rows] == [
        ("Mean; highest", "needs a target")
    ]
    assert document.counts == "2 not judged"
    assert document.sources == ("X, table 1 / table 2, quoted in a text",)


def test_backings_are_told_apart_and_compared():
    table = table_of("section-backing", "Show-through by what lies behind the page")
    assert [row[0].text for row in table.rows] == ["Lighter backing", "Darker backing"]
    assert [spaces(row[1].text) for row in table.rows] == ["6.40 ± 0.20 %", "0.70 ± 0.20 %"]
    (advice,) = [spaces(note) for note in table.notes if "lowers" in note]
    assert "from 6.4 to 0.7 % and makes the paper darker by 4.2 L*." in advice
    assert "Lay black card behind pages that are printed on both sides" in advice


def test_no_card_is_advised_where_it_changes_nothing_for_sure():
    record = synthetic.heron()
    unsure = tuple(
        replace(m, uncertainty=4.0) if m.name == "backing.show_through" else m
        for m in record.record.measures
    )
    whole = page(changed(record, measures=unsure))
    (section,) = [s for s in whole.sections if s.id == "section-backing"]
    assert "black card" not in " ".join(section.tables[0].notes)


def test_legibility_is_said_with_bounds_and_what_limits_it():
    table = table_of("section-legibility", "Smallest print that can be read")
    assert spaces(table.head[1]) == "Scans at 300 dpi, at least 190 dpi effective"
    rows = {row[0].text: spaces(row[1].text) for row in table.rows}
    assert rows["Character, excellent"] == "at most 2.1 mm"
    assert rows["Stroke, excellent"] == "at most 0.26 mm"
    assert table.notes == ("At 300 dpi: the printed edge is rough.",)


def test_the_plan_says_settings_time_and_disk():
    table = table_of("section-plan", "Settings and time")
    rows = {row[0].text: [spaces(row[1].text), *map(spaces, row[1].small)] for row in table.rows}
    assert rows["Resolution"][0] == "200 dpi"
    assert "they come out marginal (quality index 4.6)" in rows["Resolution"]
    assert rows["Pages an hour"][0] == "155 ± 1"
    assert "5 s to turn a page (an assumption)" in rows["Pages an hour"]
    assert rows["Time in all"] == ["7.7 h", "2 days of 4 h each"]
    disk = table_of("section-plan", "Disk")
    sizes = {row[0].text: [spaces(cell.text) for cell in row[1:]] for row in disk.rows}
    assert sizes["TIFF, uncompressed"] == ["11.6 MB", "13.9 GB"]  # 1200 pages
    assert sizes["PNG, lossless"] == ["5.72 ± 0.1 MB", "6.86 GB"]


def test_a_plan_without_a_timed_scan_says_so():
    record = synthetic.heron()
    plan = replace(record.record.plan, seconds=None, pages_per_hour=None, hours=None, days=None,
                   why_time="no scan was timed")  # fmt: skip
    (section,) = [s for s in page(changed(record, plan=plan)).sections if s.id == "section-plan"]
    rows = {row[0].text: row[1] for row in section.tables[0].rows}
    assert (rows["Pages an hour"].text, rows["Time in all"].text) == ("not known",) * 2
    assert rows["Pages an hour"].small == ("no scan was timed",)


def test_without_a_job_there_is_no_plan():
    whole = page(changed(synthetic.heron(), plan=None))
    assert "section-plan" not in [section.id for section in whole.sections]
