"""The page for a seller keeps measured and inferred apart and names every file."""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.model import Action, Diagnosis, Evidence, Outcome, Seen
from scanqa.report.evidence.seller_page import evidence_page, render_evidence, worth_a_page
from scanqa.report.view import Crop, Lines
from tests.report import synthetic
from tests.report.reading import page_text


def spaces(text):
    return text.replace("\u202f", " ").replace("\u00a0", " ")


def with_findings(*findings, evidence=()):
    return synthetic.changed(synthetic.heron(), findings=findings, evidence=evidence)


def line(streak=0):
    return (Seen("line", "fault", rests_on=("streaks",), streak=streak),)


def streak_finding(**changes):
    given = {
        "cause": "moving-dirt",
        "severity": "fault",
        "signs": line(),
        "title": "Dark line at 88.1 mm: dirt in the moving light path",
        "heading": "Dark line at 88.1 mm",
        "reason": "At 88.1 mm 1.62 % darker. These scans hardly tell it from a weak element",
        "measured": "At 88.1 mm 1.62 % darker",
        "unsure": "These scans hardly tell it from a weak element",
        "rests_on": ("streaks",),
        "likely": ("dirt in the moving light path", "a weak element"),
    }
    return Diagnosis(**{**given, **changes})


def test_the_heading_and_the_measured_lines_name_no_cause():
    (proof,) = evidence_page(with_findings(streak_finding())).proofs
    assert proof.heading == "Dark line at 88.1 mm"
    said = " ".join((proof.heading, *proof.measured))
    assert not any(cause in said for cause in proof.causes)
    assert proof.causes == ("dirt in the moving light path", "a weak element")
    assert proof.unsure == "These scans hardly tell it from a weak element."


def test_a_streak_comes_with_its_uncertainty_its_pixels_and_the_mean_of_its_columns():
    (proof,) = evidence_page(with_findings(streak_finding())).proofs
    # significance is contrast over its standard uncertainty: 1.62 % over 162 is 0.01 %
    (line,) = [spaces(line) for line in proof.measured if line.startswith("Contrast")]
    assert line == "Contrast 1.62 ± 0.01 %, 162 times its uncertainty; pixel 1040.5; scan 2."
    crop, curve = proof.pictures
    assert isinstance(crop, Crop)
    assert isinstance(curve, Lines)
    (only,) = curve.curves
    assert np.ptp(only.x) <= 20.0  # 10 mm on both sides
    assert only.y.min() < -1.2  # the streak is in it: 1.62 %, seen half a column off its middle


def test_crops_of_other_streaks_are_not_shown_as_proof_of_this_one():
    finding = streak_finding(signs=line(2))
    (proof,) = evidence_page(with_findings(finding)).proofs
    assert not any(isinstance(picture, Crop) for picture in proof.pictures)


def test_values_carry_uncertainty_scan_and_meaning():
    finding = streak_finding(
        heading="Shadow at the left", measured="", signs=(), rests_on=("edges.shadow_left",)
    )
    (proof,) = evidence_page(with_findings(finding)).proofs
    (line,) = map(spaces, proof.measured)
    assert line.startswith("Shadow left: 6.80 ± 0.20 mm; scan 2. Depth of the shadow")


def test_faults_come_first_and_notes_are_not_held_against_the_scanner():
    findings = (
        streak_finding(heading="A note", severity="note"),
        streak_finding(heading="A warning", severity="warning"),
        streak_finding(heading="A fault", severity="fault"),
    )
    page = evidence_page(with_findings(*findings))
    assert [(proof.number, proof.heading) for proof in page.proofs] == [
        (1, "A fault"),
        (2, "A warning"),
    ]
    assert "A note" not in page_text(render_evidence(with_findings(*findings)))


def test_what_paper_design_settings_and_advice_make_is_no_fault_of_the_unit():
    acts = {
        "moving-dirt": "clean",
        "frame-shade": "design",
        "paper": "original",
        "levels": "setting",
    }
    found = with_findings(
        *(streak_finding(cause=cause, heading=f"By {cause}") for cause in (*acts, "card-helps"))
    )
    actions = tuple(Action(cause, act=act) for cause, act in acts.items())
    whole = synthetic.changed(found, actions=(*actions, Action("card-helps")))
    assert [proof.heading for proof in evidence_page(whole).proofs] == ["By moving-dirt"]


def test_it_is_addressed_says_what_is_asked_and_shows_the_whole_glass():
    text = page_text(render_evidence(synthetic.heron(), done=synthetic.DONE))
    order = [
        "To R. Osgood: what was found on the scanner heron", "Larkfield L-12, serial 0417",
        "arrived 20 November 2026", "What is asked", "I will clean what can be cleaned",
        "The glass seen from above, 297 × 420 mm. 1, Dark line at 88.1 mm", "What was found",
    ]  # fmt: skip
    places = [text.index(words) for words in order]
    assert places == sorted(places)


def test_too_many_findings_are_counted_not_hidden():
    many = tuple(streak_finding(heading=f"Fault {n}") for n in range(11))
    page = evidence_page(with_findings(*many))
    assert (len(page.proofs), page.left_out) == (8, 3)
    assert "3 more stand in the full report" in page_text(render_evidence(with_findings(*many)))


def test_cautions_are_all_there_and_none_twice():
    caution = "Unplug first. Keep solvents off plastics."
    findings = (
        streak_finding(caution=caution, stop="Stop at the glass."),
        streak_finding(caution=caution + " Wait."),
    )
    page = evidence_page(with_findings(*findings))
    said = " ".join(page.cautions)
    assert said.count("Unplug first.") == 1
    assert said.count("Wait.") == 1
    assert "Finding 1: Stop at the glass." in page.cautions
    for word in ("Mains", "mercury", "local codes", "return"):
        assert word in said


@pytest.mark.parametrize(
    ("done", "said"),
    [
        (None, "no note of earlier work"),
        ((), "no cleaning, repair or opening was noted"),
        ((("2026-11-18T08:00:00+00:00", "glass cleaned"),), "glass cleaned"),
    ],
)
def test_what_was_done_before_is_said_or_said_not_to_be_known(done, said):
    page = evidence_page(synthetic.heron(), done=done)
    assert said in page.done[0][1]


def test_every_scan_is_named_with_its_whole_hash():
    found = synthetic.heron()
    record, text = found.record, page_text(render_evidence(found))
    for facts in record.scans:
        assert facts.file in text
    assert text.count(record.scans[0].sha256) == len(record.scans)


def test_it_is_one_file_that_runs_and_fetches_nothing_and_is_the_same_each_time():
    html = render_evidence(synthetic.heron(), done=synthetic.DONE)
    assert html == render_evidence(synthetic.heron(), done=synthetic.DONE)
    assert "<script" not in html
    assert "default-src 'none'" in html
    assert len(html.encode()) < 1_000_000


def test_a_page_is_called_for_by_a_fault_or_a_use_that_falls_short():
    record = synthetic.one_blank().record
    assert not worth_a_page(record)  # not judged
    sound = replace(record, outcome=Outcome("fit", "All well."))
    assert not worth_a_page(sound)
    warned = replace(sound, findings=(streak_finding(severity="warning"),))
    assert not worth_a_page(warned)  # and yet fit for all work
    assert worth_a_page(replace(sound, findings=(streak_finding(),)))
    short = replace(warned, outcome=Outcome("limited", "", judged="limited"))
    assert worth_a_page(short)
    assert not worth_a_page(replace(short, findings=()))  # nothing that could be shown


def test_what_one_look_shows_is_not_for_a_seller():
    once = streak_finding(confirmed=False, look="paper-moved", severity="warning", heading="Once")
    sure = streak_finding(heading="Sure")
    faint = streak_finding(confirmed=False, look="paper-moved", severity="note", heading="Faint")
    page = evidence_page(with_findings(once, sure, faint))
    assert [proof.heading for proof in page.proofs] == ["Sure"]
    assert "Faint" not in page_text(render_evidence(with_findings(once, sure, faint)))
    assert not worth_a_page(
        replace(with_findings(once).record, outcome=Outcome("unfit", "", judged="unfit"))
    )


def test_two_lines_at_one_place_along_and_across_keep_their_numbers_apart():
    found = synthetic.heron()
    along = found.record.streaks[0]
    across = replace(along, axis="across", contrast_percent=0.9, significance=45.0, at_px=7.0)
    both = synthetic.changed(
        found, streaks=(along, across), findings=(streak_finding(signs=line(1)),)
    )
    (proof,) = evidence_page(both).proofs
    (said,) = [spaces(words) for words in proof.measured if words.startswith("Contrast")]
    assert said.startswith("Contrast 0.90 ± 0.02 %, 45 times its uncertainty; pixel 7.0")
    assert not any(isinstance(picture, Crop) for picture in proof.pictures)


def test_a_map_stands_in_where_there_are_no_crops():
    uneven = Evidence("shading", "map", "Light", unit="%", image=np.eye(9) + 1.0)
    finding = streak_finding(rests_on=("shading.nonuniformity",), heading="Uneven", signs=())
    (proof,) = evidence_page(with_findings(finding, evidence=(uneven,))).proofs
    assert len(proof.pictures) == 1
