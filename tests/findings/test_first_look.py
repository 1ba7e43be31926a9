"""One look: no fault, no cause that only a second look could tell, nothing for a seller.

Records are put together from gross faults of every kind, any number at once, each measured in one
scan of its role. What is expected is the rule of DEVELOPERS.md ("A second look"), not a number.
"""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.catalogue import CATALOGUE, SECOND_LOOKS
from scanqa.catalogue.causes import CAUSES
from scanqa.findings import judge
from scanqa.findings.looks import NONE_NEEDED, look_for
from scanqa.model import Diagnosis, LineSigns, Measurement, Results, Share
from scanqa.report.evidence.seller_page import evidence_page, worth_a_page
from scanqa.words.of_judgement import worded
from tests.findings.test_diagnosis import SCAN, banding, over_the_bed, streak
from tests.report import synthetic

BED = SCAN
BLANK = replace(SCAN, file="blank-1.tif", role="blank", sheet=None, paper="first")
BOOK = replace(SCAN, file="book.tif", role="open-book", sheet=None)
ONE_LOOK = (BED, BLANK, BOOK)
LUMA = {"channel": "luma"}


def of_bed(name, value, **where):
    return (Measurement(name, value, 0.001, scan=BED.file, **where),)


def of_blank(name, value, **where):
    return (Measurement(name, value, 0.001, scan=BLANK.file, **where),)


def printed(name, value):
    return sum((of_bed(name, value, direction=d, edge_kind="printed") for d in WAYS), ())


WAYS = ("across", "travel")
GROSS = {
    "soft all over": printed("sharpness.effective_dpi", 80.0),
    "soft at one side": over_the_bed(lambda x, y: 1.0 if x > 140 else 4.0),
    "haze": of_bed("veil.stray_light", 15.0),
    "colours apart": of_bed("colour.registration", 1.4, direction="travel", channel="blue"),
    "scale": of_bed("geometry.dpi_travel", 310.0),
    "out of square": of_bed("geometry.orthogonality", 1.2),
    "travel jitter": of_bed("geometry.travel_jitter", 90.0),
    "made-up dpi": of_bed("claim.native_fraction", 0.5, direction="travel"),
    "uneven light": of_blank("shading.nonuniformity", 12.0),
    "falls off": of_blank("shading.falloff_right_10mm", 85.0),
    "slope": of_blank("shading.falloff_top_20mm", 95.0)
    + of_blank("shading.falloff_bottom_20mm", 105.0),
    "shadow": of_blank("edges.shadow_left", 20.0),
    "dead margin": of_bed("edges.dead_margin_left", 5.0),
    "drift": of_blank("drift.level", 6.0),
    "bands": tuple(replace(m, scan=BLANK.file) for m in banding(spread=0.02, amplitude=1.5)),
    "faint bands": tuple(replace(m, scan=BLANK.file) for m in banding(amplitude=0.1)),
    "unsteady rows": of_blank("banding.unsteadiness", 0.5),
    "little light": of_blank("noise.light_index", 3.0, channel="green"),
    "grain": of_blank("noise.temporal", 2.0, **LUMA),
    "dark gutter": (Measurement("gutter.delta_L_at_5mm", 20.0, 0.1, scan=BOOK.file),),
}
FAINT_OR_GROSS = st.sets(st.sampled_from(sorted(GROSS)), min_size=1)
NOT_COMPARED = LineSigns(False, 1.0, full=True)  # one scan: whether it stays is not known


def found_in(measures, *, streaks=(), scans=ONE_LOOK):
    results = Results(tuple(measures), streaks)
    return worded(judge(results, scans), results)


def diagnoses(judgement):
    return [each for each in judgement.findings if isinstance(each, Diagnosis) and each.causes]


@settings(max_examples=150, deadline=None)
@given(planted=FAINT_OR_GROSS, with_line=st.booleans())
def test_one_look_is_never_sure_and_never_reaches_the_seller(planted, with_line):
    line = (streak(delta_L=3.0, signs=NOT_COMPARED),) if with_line else ()
    judgement = found_in([m for name in planted for m in GROSS[name]], streaks=line)
    found = diagnoses(judgement)
    assert found
    drive = CAUSES["drive-steps"]
    for each in found:
        assert not each.confirmed
        assert each.severity != "fault"
        assert each.look in SECOND_LOOKS
        assert SECOND_LOOKS[each.look] in each.action  # it asks for that scan, and for nothing else
        assert drive.name not in (each.title, *each.likely)
        assert not each.title.endswith(drive.name)
    record = synthetic.changed(
        synthetic.heron(), findings=judgement.findings, outcome=judgement.outcome
    )
    assert not worth_a_page(record.record)
    assert evidence_page(record).proofs == ()


@pytest.mark.parametrize("name", sorted(GROSS))
def test_each_gross_fault_is_seen_at_the_first_look(name):
    assert diagnoses(found_in(GROSS[name]))


@pytest.mark.parametrize(
    ("measures", "look"),
    [  # issue 11, rule 1: what must differ before a value may be called a fault
        (("streaks.strongest_visible", "glass.marks"), "paper-moved"),
        (("banding.amplitude", "banding.unsteadiness"), "paper-turned"),
        (("sharpness.effective_dpi", "sharpness.sfr50"), "another-edge"),
        (("geometry.dpi_across", "geometry.dpi_travel"), "rule"),
        (("claim.factor", "claim.native_fraction"), "another-original"),
        (("gutter.delta_L_at_5mm", "gutter.reach_5"), "book-again"),
        (("noise.light_index", "drift.level", "drift.settle_time"), "earlier-check"),
        (("processing.jpeg_quality", "processing.level_stretch", "processing.crop"), NONE_NEEDED),
    ],
)
def test_each_measure_names_the_look_of_the_rule(measures, look):
    for measure in measures:
        names = [name for name in CATALOGUE if name == measure or name.startswith(measure + "_")]
        assert names, measure
        assert {CATALOGUE[name].second_look for name in names} == {look}


def test_softness_on_one_side_asks_for_the_sheet_turned():
    (found,) = diagnoses(found_in(GROSS["soft at one side"]))
    assert {look_for(seen) for seen in found.signs} == {"sheet-turned"}


QUARTER = replace(BED, file="quarter.tif", rotation_deg=90)
RULE = of_bed("geometry.printer_across", 0.0) + of_bed("geometry.printer_down", 0.0)


def test_scale_is_the_scanners_only_where_a_rule_or_a_quarter_turn_told_the_print_apart():
    (once,) = diagnoses(found_in(GROSS["scale"]))
    assert (once.severity, once.confirmed, once.look) == ("warning", False, "rule")
    for scans in ((BED,), (BED, QUARTER)):
        (sure,) = diagnoses(found_in((*GROSS["scale"], *RULE), scans=scans))
        assert (sure.cause, sure.severity, sure.confirmed) == ("wrong-scale", "warning", True)


def test_a_dark_gutter_is_sure_once_the_book_is_laid_again():
    (once,) = diagnoses(found_in(GROSS["dark gutter"]))
    assert (once.confirmed, once.look) == (False, "book-again")
    again = replace(BOOK, file="book-2.tif")
    (m,) = GROSS["dark gutter"]
    both = (m, replace(m, scan=again.file))
    (sure,) = diagnoses(found_in(both, scans=(BOOK, again)))
    assert (sure.cause, sure.confirmed) == ("page-lift", True)
    gone = (m, replace(m, scan=again.file, value=0.5))
    (found,) = diagnoses(found_in(gone, scans=(BOOK, again)))
    assert not found.confirmed


def test_a_trace_of_resampling_is_not_sure_however_many_lossy_originals_show_it():
    def trace(scan):
        return Measurement(
            "claim.native_fraction", 0.5, None, "between", "trace of resampling", scan,
            direction="travel", reason_kind="unclear", low=0.25, high=1.0,
        )  # fmt: skip

    pages = tuple(replace(BOOK, file=f"page-{n}.jpg", role="page", lossy=True) for n in (1, 2))
    (found,) = diagnoses(found_in([trace(scan.file) for scan in pages], scans=pages))
    assert (found.severity, found.confirmed) == ("warning", False)
    assert found.look == "without-loss"
    assert found.title == "Look again: trace of resampling, factor not certain"
    # JPEG that hides the factor but shows no trace says nothing at all.
    hidden = [replace(trace(pages[0].file), value=1.0, low=0.5, reason_kind="compression")]
    assert diagnoses(found_in(hidden, scans=pages)) == []


def test_a_trace_that_only_comes_with_a_cause_asks_for_another_original():
    """Smoothed grain alone is the driver's smoothing, which its file shows."""
    smoothed = of_blank("processing.grain_kept", 0.3, direction="across")
    (found,) = diagnoses(found_in(smoothed))
    assert (found.cause, found.severity, found.confirmed) == ("smoothing", "warning", True)
    assert not found.look


def test_the_likely_cause_of_a_line_names_no_belt():
    """Lines are shown in a table of their own, whatever look there was."""
    line = streak("carriage-place", causes=(Share("drive-steps", 1.0),))
    results = Results((), (line,))
    (said,) = worded(replace(judge(results, ONE_LOOK), streaks=(line,)), results).streaks
    assert said.likely_cause == CAUSES["drive-steps"].until_sure
    assert CAUSES["drive-steps"].until_sure != CAUSES["drive-steps"].name
