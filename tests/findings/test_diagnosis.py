"""Signs lead to the right first cause, with a check, an action, a place to stop, and a caution."""

import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.catalogue.causes import BY_ACCIDENT, CAUSES, CAUTIONS, TELLS_APART
from scanqa.findings import judge
from scanqa.findings import signs as signs_package
from scanqa.findings.diagnosis import rank
from scanqa.model import Diagnosis, LineSigns, Mark, Measurement, Results, ScanFacts, Seen, Streak
from scanqa.summary import summarise
from scanqa.words.of_judgement import worded
from scanqa.words.of_signs import SENTENCES

SCAN = ScanFacts(
    "bed-sheet.tif", "bed-sheet", 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, "bed-sheet-a4",
    "tiff", False, "sRGB assumed", "0" * 64, "",
)  # fmt: skip
ALL_SIGNS = sorted(BY_ACCIDENT)
OF_LINES = {name for name in ALL_SIGNS if name.startswith("line-")}
WAYS = {"line-along", "line-across"}

# What each cause of a line shows of it, in two scans between which the paper moved.
STAYS, MOVED = 9000.0, 1 / 9000.0
SHOWN = {
    "moving-dirt": LineSigns(True, STAYS, full=True),
    "white-strip-dirt": LineSigns(True, STAYS, full=True),
    "dead-element": LineSigns(True, STAYS, full=True, one_colour=True, one_sample=True),
    "segment-joins": LineSigns(True, STAYS, full=True, one_sample=True, regular=True),
    "glass-line": LineSigns(True, STAYS),
    "paper": LineSigns(True, MOVED),
    "carriage-place": LineSigns(True, STAYS, full=True),
    "carriage-pause": LineSigns(True, MOVED, full=True),
}
BRIGHT, ACROSS = {"white-strip-dirt"}, {"carriage-place", "carriage-pause"}


def streak(cause="moving-dirt", visible=True, delta_L=0.8, at_mm=100.0, **fields):
    """A line that shows what a cause makes."""
    return Streak(
        at_mm=at_mm, at_px=1181.0, width_um=85.0, contrast_percent=2.5 * delta_L, delta_L=delta_L,
        polarity="bright" if cause in BRIGHT else "dark", channels=("luma",),
        extent_mm=(0.0, 297.0), significance=20.0, visible=visible, scan="blank-1.tif",
        **{"axis": "across" if cause in ACROSS else "travel", "signs": SHOWN[cause]} | fields,
    )  # fmt: skip


def measured(name, value, uncertainty=0.001, **where):
    return Measurement(name, value, uncertainty, **where)


def two_blanks(lies):
    """Two blank scans, the paper of the second lying so against that of the first."""
    first = replace(SCAN, file="blank-1.tif", role="blank", sheet=None, paper="first")
    return first, replace(first, file="blank-2.tif", paper=lies)


def judged(*measurements, streaks=(), marks=(), scans=(SCAN,), earlier=()):
    results = Results(measurements, streaks, marks)
    return worded(judge(results, scans, earlier=earlier), results)


def diagnosed(*measurements, **more):
    found = judged(*measurements, **more).findings
    return tuple(each for each in found if isinstance(each, Diagnosis))


def first_causes(findings):
    return [finding.causes[0].cause for finding in findings]


# ------------------------------------------------------------------------------------- the rules


def test_every_cause_says_what_to_do_and_where_to_stop():
    for cause, row in CAUSES.items():
        assert all((row.name, row.check, row.action)), cause
        assert ": " not in row.name  # a title is "signs: cause"
        assert 0 < row.prior < 1
        if not row.stop:  # only where there is nothing that one could go on with
            assert cause in ("paper", "not-flat")
    actions = [row.action for row in CAUSES.values()]
    assert len(set(actions)) == len(actions)  # each is named once in what to do


def test_chances_are_chances_of_signs_that_exist():
    for cause, row in CAUSES.items():
        for sign, chance in row.shows.items():
            assert sign in ALL_SIGNS, (cause, sign)
            assert 0 < chance < 1, (cause, sign)
    assert all(0 < chance < 1 for chance in BY_ACCIDENT.values())


def test_every_sign_of_the_code_has_a_chance_and_a_cause():
    rooms = [f.read_text("utf-8") for f in Path(signs_package.__file__).parent.glob("*.py")]
    names = r'(?:yield (?:sign\(\s*)?|\+= sign\(\s*|Seen\(\s*)"([a-z-]+)"'
    found = {name for text in rooms for name in re.findall(names, text)}
    found |= {"shadow", "dead-margin", "specks", "long-marks"} | OF_LINES  # named by a variable
    assert found == set(ALL_SIGNS)
    assert {name for row in CAUSES.values() for name in row.shows} == set(ALL_SIGNS)


def test_every_sign_that_asks_for_an_explanation_has_a_sentence():
    evidence = {
        "very-soft", "soft-one-way", "stays-when-turned", "falls-all-sides", "large-margin",
        "rises", "noise-without-light", "crests-move", "mains", "as-fine-as-steps",
        "fringes-along-travel", "strong-halo", "no-grain",
    }  # fmt: skip
    assert set(SENTENCES) == set(ALL_SIGNS) - evidence - OF_LINES - {"specks", "long-marks"}


def test_whoever_would_open_it_is_warned_of_mains_and_lamp():
    """Mains, inverters of several hundred volts, mercury and solvents (common practice)."""
    for cause, row in CAUSES.items():
        opens = re.search(r"lie inside|leave th|inverter|qualified|workshop", row.stop)
        if opens and "new glass" not in row.stop:
            assert {"open", "lamp", "clean"} & set(row.cautions), cause
        if "inverter" in row.stop or "lamp" in row.name:
            assert "lamp" in row.cautions, cause
        if re.search(r"\b[Cc]lean\b", row.action):
            assert "clean" in row.cautions, cause
        assert set(row.cautions) <= set(CAUTIONS)
    assert "local codes" in CAUTIONS["open"]
    assert "mercury" in CAUTIONS["lamp"]
    assert "several hundred volts" in CAUTIONS["lamp"]
    assert "solvents" in CAUTIONS["clean"]


def test_pairs_that_look_alike_are_causes_that_share_a_sign():
    for pair, tells in TELLS_APART.items():
        one, other = pair
        assert set(CAUSES[one].shows) & set(CAUSES[other].shows), pair
        assert tells


@given(
    st.dictionaries(st.sampled_from(ALL_SIGNS), st.booleans()),
    st.dictionaries(st.sampled_from(sorted(OF_LINES)), st.floats(0, 1)),
    st.sampled_from(sorted({s for row in CAUSES.values() for s in row.shows})),
)
@settings(deadline=None, max_examples=60)
def test_shares_are_a_probability_and_follow_bayes_rule(seen, own, asked):
    ranking = rank(asked, seen, own=own)
    shares = [each.share for each in ranking]
    assert sum(shares) == pytest.approx(1)
    assert shares == sorted(shares, reverse=True)

    def weight(cause):  # prior × product of chances, in a second wording
        row, product = CAUSES[cause], CAUSES[cause].prior
        for name, there in (*seen.items(), *own.items()):
            chance = row.shows.get(name, BY_ACCIDENT[name])
            product *= 1 - chance + there * (2 * chance - 1)
        return product

    one, other = ranking[0], ranking[-1]
    odds = one.share / max(other.share, 1e-300)
    assert odds == pytest.approx(weight(one.cause) / weight(other.cause), rel=1e-6)


def test_a_cause_that_is_given_explains_without_a_prior_and_relieves_others():
    signs = {"soft": (Seen("soft", "note"),), "invented": True, "sharpened": True}
    alone = {each.cause: each.share for each in rank("sharpened", signs)}
    beside = {each.cause: each.share for each in rank("sharpened", signs, ["false-dpi"])}
    assert alone["sharpening"] < alone["false-dpi"]  # that explains all three
    assert beside["sharpening"] < beside["false-dpi"]  # a halo of an interpolation
    strong = signs | {"strong-halo": True}
    assert rank("sharpened", strong, ["false-dpi"])[0].cause == "sharpening"


def test_what_a_given_cause_shows_elsewhere_does_not_speak_for_a_single_line():
    """The belt's lines stay, but that the paper's line stays is none the likelier for it."""
    own = {"line-stays": 1.0}
    alone = {each.cause: each.share for each in rank("line-across", {}, own=own)}
    beside = {each.cause: each.share for each in rank("line-across", {}, ["drive-steps"], own)}
    assert alone["paper"] / alone["glass-line"] == pytest.approx(
        beside["paper"] / beside["glass-line"]
    )
    assert beside["drive-steps"] > alone["drive-steps"]


def test_a_sign_that_no_cause_makes_is_a_bug_and_not_silence():
    with pytest.raises(KeyError, match="no cause"):
        rank("rises-from-the-dead", {})


# ---------------------------------------------------------------------------------------- lines


@pytest.mark.parametrize("cause", SHOWN)
def test_a_line_leads_to_the_cause_that_makes_such_lines(cause):
    found = judged(streaks=(streak(cause),))
    (line,), (finding,) = found.streaks, found.findings[:1]
    assert line.causes[0].cause == finding.cause == cause
    assert line.likely_cause == CAUSES[cause].name
    assert finding.likely[0] == CAUSES[cause].name
    assert finding.action
    assert finding.check_next


def test_lines_of_each_way_are_ranked_among_the_causes_of_that_way():
    for axis, way in (("travel", "line-along"), ("across", "line-across")):
        (line,) = judged(streaks=(streak(axis=axis),)).streaks
        assert {each.cause for each in line.causes} == {c for c in CAUSES if way in CAUSES[c].shows}
        assert sum(each.share for each in line.causes) == pytest.approx(1)


def test_one_scan_does_not_say_whether_a_line_stays():
    unknown = LineSigns(full=True)
    (line,) = judged(streaks=(streak(signs=unknown),)).streaks
    (stays,) = judged(streaks=(streak(),)).streaks
    paper = {each.cause: each.share for each in line.causes}["paper"]
    assert paper > 0.02 > {each.cause: each.share for each in stays.causes}["paper"]


def test_two_lines_at_the_same_place_along_and_across_are_told_apart():
    """Both at 71.3 mm: each finding knows which of the streaks is its own."""
    along = streak("moving-dirt", at_mm=71.3, delta_L=0.4)
    across = streak("carriage-place", at_mm=71.34, delta_L=0.9)
    judgement = judged(streaks=(along, across))
    assert [line.causes[0].cause for line in judgement.streaks] == ["moving-dirt", "carriage-place"]
    assert [line.at_mm for line in judgement.streaks] == [71.3, 71.34]
    found = {each.cause: each for each in judgement.findings[:2]}
    assert [seen.streak for seen in found["moving-dirt"].signs] == [0]
    assert [seen.streak for seen in found["carriage-place"].signs] == [1]
    assert "1.00 % darker" in found["moving-dirt"].reason
    assert "2.25 % darker" in found["carriage-place"].reason


def test_lines_of_one_cause_are_one_finding_and_faint_ones_are_counted():
    lines = (streak(at_mm=50.0), streak(at_mm=20.0), streak(visible=False, delta_L=0.1))
    (finding,) = diagnosed(streaks=lines)
    assert finding.title.startswith("Dark lines at 20.0 and 50.0 mm and 1 too faint to be seen: ")
    many = tuple(streak(at_mm=float(at)) for at in range(10, 90, 10))
    assert diagnosed(streaks=many)[0].title.startswith("8 dark lines (the strongest at 10.0 mm)")


def test_faint_lines_of_a_compressed_scan_are_the_compressions_and_seen_ones_are_not():
    quality = Measurement("processing.jpeg_quality", 60.0, 1.0, scan="blank-1.tif")
    lines = (streak(visible=False, delta_L=0.06, at_mm=30.0), streak(delta_L=0.9))
    found = {each.cause: each for each in diagnosed(quality, streaks=lines)}
    assert {seen.streak for seen in found["compression"].signs} == {0, None}
    assert [seen.streak for seen in found["moving-dirt"].signs] == [1]
    (alone,) = diagnosed(streaks=lines[:1])
    assert alone.cause == "moving-dirt"
    assert "compression" not in {each.cause for each in alone.causes}


def test_a_line_that_is_only_just_seen_is_no_fault():
    assert diagnosed(streaks=(streak(delta_L=0.25),))[0].severity == "warning"
    assert diagnosed(streaks=(streak(delta_L=0.6),))[0].severity == "fault"
    assert diagnosed(streaks=(streak("paper", delta_L=0.6),))[0].severity == "note"


def test_cleaning_and_opening_carry_cautions():
    (finding,) = diagnosed(streaks=(streak(),))
    assert "Unplug" in finding.caution
    assert "local codes" in finding.caution
    assert "inside" in finding.stop


def test_an_invisible_streak_is_a_note_and_asks_for_nothing():
    assert judged(streaks=(streak(visible=False, delta_L=0.1),)).actions == ()


# ------------------------------------------------------------------------------------ sharpness


def sfr50(value, at_mm, direction="across", scan=SCAN.file):
    return measured(
        "sharpness.sheet_sfr50", value, 0.05, scan=scan, at_mm=at_mm, direction=direction,
        edge_kind="printed",
    )  # fmt: skip


def over_the_bed(value_at, **where):
    return tuple(
        sfr50(value_at(x, y), (float(x), float(y)), **where)
        for x in range(20, 200, 40)
        for y in range(20, 290, 44)
    )


@pytest.mark.parametrize(
    ("soft", "where"),
    [
        (lambda x, y: x > 130, "right"),
        (lambda x, y: y < 100, "top"),
        (lambda x, y: x < 70 and y > 190, "bottom left"),
    ],
)
def test_a_softer_place_is_named(soft, where):
    sites = over_the_bed(lambda x, y: 2.0 if soft(x, y) else 4.0)
    (finding,) = diagnosed(*sites)
    assert finding.title == f"Look again: softer at the {where} (across)"
    assert "SFR50 2.0 cy/mm there" in finding.reason
    assert finding.alike == (finding.causes[1].cause,) == ("not-flat",)  # one scan cannot tell
    assert not finding.confirmed
    assert finding.look == "sheet-turned"
    assert "hardly tell it from a sheet" in finding.reason


@pytest.mark.parametrize(("then", "cause"), [("right", "tilt"), ("left", "not-flat")])
def test_turning_the_sheet_tells_tilt_from_a_curl(then, cause):
    turned = replace(SCAN, file="turned.tif", rotation_deg=180)
    there = {"right": lambda x, y: x > 130, "left": lambda x, y: x < 70}[then]
    sites = (
        *over_the_bed(lambda x, y: 2.0 if x > 130 else 4.0),
        *over_the_bed(lambda x, y: 2.0 if there(x, y) else 4.0, scan="turned.tif"),
    )
    assert first_causes(diagnosed(*sites, scans=(SCAN, turned))) == [cause]


def effective(across, travel=None, kinds=("printed", "cut")):
    return tuple(
        measured("sharpness.effective_dpi", value, 2.0, scan=SCAN.file, at_mm=(x, 50.0),
                 direction=direction, edge_kind=kind)
        for x in (20.0, 100.0, 180.0)
        for kind in kinds
        for direction, value in (("across", across), ("travel", travel or across))
    )  # fmt: skip


@pytest.mark.parametrize(
    ("dpi", "cause", "severity"),
    [(230.0, "lens-grade", "note"), (150.0, "focus", "warning"), (80.0, "focus", "fault")],
)
def test_softness_all_over_is_graded(dpi, cause, severity):
    (finding,) = diagnosed(*effective(dpi))
    assert first_causes([finding]) == [cause]
    assert finding.severity == severity
    assert f"{dpi:.0f} of the 300 dpi delivered" in finding.reason


def test_softness_by_one_kind_of_edge_may_be_the_prints():
    (finding,) = diagnosed(*effective(80.0, kinds=("printed",)))
    assert (finding.cause, finding.severity) == ("focus", "warning")
    assert (finding.confirmed, finding.look) == (False, "another-edge")
    assert CAUSES["bad-print"].name in finding.likely
    printed = effective(80.0, kinds=("printed",))
    (print_only,) = diagnosed(*printed, *printed, *effective(280.0, kinds=("cut",)))
    assert (print_only.cause, print_only.severity) == ("bad-print", "note")


def test_black_that_turns_grey_makes_softness_haze():
    (finding,) = diagnosed(*effective(230.0), measured("veil.stray_light", 7.0, 0.2))
    assert first_causes([finding]) == ["haze"]
    assert "mirrors" in finding.likely[0]
    assert "mercury" in finding.caution
    assert "solvents" in finding.caution


def test_softness_far_beyond_haze_is_named_beside_it():
    found = diagnosed(*effective(120.0), measured("veil.stray_light", 7.0, 0.2))
    assert sorted(first_causes(found)) == ["focus", "haze"]


def test_interpolated_dpi_is_a_fault_with_its_direction_and_scan():
    native = measured("claim.native_fraction", 1.0, None, scan=SCAN.file, direction="across")
    doubled = Measurement(
        "claim.native_fraction", 0.5, 0.001, reason="linear interpolation from about 150 dpi",
        scan=SCAN.file, direction="travel",
    )  # fmt: skip
    (once,) = diagnosed(native, doubled)
    assert once.title == "Look again: only 50 % of the dpi is real (along travel)"
    assert (once.severity, once.confirmed, once.look) == ("warning", False, "another-original")
    other = replace(SCAN, file="page.tif", role="claim", sheet=None)
    again = replace(doubled, scan="page.tif")
    (finding,) = diagnosed(native, doubled, again, scans=(SCAN, other))
    assert finding.title.startswith(
        "Only 50 % of the dpi is real (along travel): the driver interpolates"
    )
    assert finding.confirmed
    assert finding.severity == "fault"
    assert "linear interpolation" in finding.reason


# ---------------------------------------------------------------------------------------- light


def lamp_index(value, error=0.2):
    return tuple(
        measured("noise.light_index", value, error, scan="blank-1.tif", channel=channel)
        for channel in ("red", "green", "blue")
    )


def test_an_earlier_check_shows_a_worn_lamp():
    before = summarise(lamp_index(50.0), (SCAN,))
    (finding,) = diagnosed(*lamp_index(30.0), earlier=before)
    assert first_causes([finding]) == ["worn-lamp"]
    assert finding.title.startswith("60 % of the light of the earlier check is left")
    assert "mercury" in finding.caution
    assert "qualified" in finding.stop
    assert diagnosed(*lamp_index(49.0, 2.0), earlier=before) == ()
    assert diagnosed(*lamp_index(44.0, 6.0), earlier=before) == ()  # within what is known


def test_light_at_another_dpi_is_no_sign_of_a_worn_lamp():
    """A pixel of half the size in each direction collects a quarter of the light."""
    coarse = replace(SCAN, dpi=(150.0, 150.0))
    before = summarise(lamp_index(200.0), (coarse,))
    assert diagnosed(*lamp_index(50.0), earlier=before) == ()


def test_little_light_from_one_check_is_said_to_look_like_a_small_sensor():
    (finding,) = diagnosed(*lamp_index(12.0))
    assert first_causes([finding]) == ["worn-lamp"]
    assert finding.severity == "note"
    assert "hardly tell it from a design with little light" in finding.reason


def banding(*, spread=None, hertz=None, period=2.0, amplitude=0.6):
    where = {"scan": "blank-1.tif", "direction": "travel", "channel": "luma"}
    rows = [
        measured("banding.amplitude", amplitude, 0.01, **where),
        measured("banding.period", period, 0.01, **where),
    ]
    rows += [measured("banding.phase_spread", spread, None, **where)] if spread is not None else []
    rows += [measured("banding.frequency", hertz, 0.1, **where)] if hertz is not None else []
    return rows


@pytest.mark.parametrize(
    ("seen", "cause"),
    [
        ({"spread": 0.02}, "drive-steps"),
        ({"spread": 0.9}, "flicker"),
        ({"spread": 0.9, "hertz": 100.3}, "flicker"),
        ({"spread": 0.02, "hertz": 71.0}, "drive-steps"),
        ({"period": 0.5, "spread": 0.9}, "drive-steps"),  # a home position is no better known
    ],
)
def test_bands_that_stay_are_the_carriage_and_bands_that_move_the_light(seen, cause):
    assert first_causes(diagnosed(*banding(**seen))) == [cause]


def test_one_scan_does_not_tell_flicker_from_the_carriage():
    (finding,) = diagnosed(*banding())
    assert "two scans of blank paper" in finding.reason
    assert {"drive-steps", "flicker"} <= {each.cause for each in finding.causes}


def test_bands_too_faint_to_be_seen_are_a_note():
    (finding,) = diagnosed(*banding(spread=0.02, amplitude=0.1))
    assert finding.severity == "note"


def test_a_shade_does_not_explain_glass_that_is_never_seen():
    found = diagnosed(
        measured("edges.shadow_left", 3.0, 0.03), measured("edges.dead_margin_left", 2.4, 0.1)
    )
    assert sorted(first_causes(found)) == ["design-margin", "frame-shade"]


def test_marks_shadow_and_gutter_are_reported_with_numbers():
    findings = diagnosed(
        measured("edges.shadow_left", 3.1, 0.1),
        measured("edges.shadow_right", 0.0, 0.1),
        measured("gutter.delta_L_at_5mm", 9.0, 0.2),
        marks=(Mark((50.0, 60.0), (0.4, 0.4), 14.0, "dark", "spot", "blank-1.tif"),),
        scans=two_blanks("moved"),
    )
    titles = [finding.title for finding in findings]
    assert any(t.startswith("Shadow 3.1 mm deep along the left edge: shade") for t in titles)
    assert not any("right edge" in t for t in titles)
    assert any("9.0 L* darker 5 mm from the spine" in t for t in titles)
    assert any(t.startswith("1 speck on the glass: dust") for t in titles)


# --------------------------------------------------------------------------------------- healthy


def test_a_healthy_unit_has_nothing_to_do():
    judgement = judged(*effective(295.0))
    assert judgement.actions == ()
    assert judgement.outcome.judged == "fit"
    assert judgement.outcome.fitness == "partly judged"  # no word on pictures, covers, books


def test_findings_come_gravest_first_with_as_many_shares_as_causes():
    findings = diagnosed(*banding(spread=0.02), *effective(230.0), streaks=(streak(delta_L=0.9),))
    order = ["fault", "warning", "note"]
    assert [f.severity for f in findings] == sorted((f.severity for f in findings), key=order.index)
    for finding in findings:
        assert finding.title.count(": ") == 1
        assert len(finding.likely) == len(finding.causes) + (not finding.confirmed)  # and paper
        assert sum(each.share for each in finding.causes) <= 1.001


# ---------------------------------------------------------------------------------- second looks


def bands_in(*files):
    return [replace(m, scan=file) for file in files for m in banding(spread=0.9)]


@pytest.mark.parametrize(
    ("lies", "then", "severity", "confirmed"),
    [
        ("moved", True, "warning", False),  # bands of the paper stay along travel too
        ("quarter", True, "warning", True),
        ("quarter", False, "note", False),  # gone with the paper: the paper's
    ],
)
def test_bands_are_the_scanners_only_if_they_stay_when_the_paper_is_turned(
    lies, then, severity, confirmed
):
    none = measured("banding.amplitude", 0.0, 0.01, scan="blank-2.tif", direction="travel",
                    channel="luma")  # fmt: skip
    rows = bands_in("blank-1.tif", "blank-2.tif") if then else [*bands_in("blank-1.tif"), none]
    (finding,) = diagnosed(*rows, scans=two_blanks(lies))
    assert (finding.severity, finding.confirmed) == (severity, confirmed)
    assert (finding.cause == "paper") == (not then)
    if not confirmed:
        said = " ".join((finding.title, finding.reason, finding.action, *finding.likely))
        assert not re.search("belt|gear|pulley", said)
    if not confirmed and then:
        assert finding.title.startswith("Look again: ")
        assert CAUSES["paper"].name in finding.likely


@pytest.mark.parametrize("lies", ["still", "moved", "half", ""])
def test_a_line_is_the_scanners_only_if_it_stays_while_the_paper_does_not(lies):
    (finding,) = diagnosed(streaks=(streak(delta_L=0.9),), scans=two_blanks(lies))
    sure = lies != "still"
    assert finding.confirmed == sure
    assert finding.severity == ("fault" if sure else "warning")
    assert finding.look == "paper-moved"
    assert ("eturn the unit" in finding.action) is False
    assert finding.action.startswith("To be sure, scan") != sure


def test_one_scan_of_a_line_asks_for_another_and_not_for_a_return():
    alone = two_blanks("moved")[:1]
    line = streak("dead-element", delta_L=2.0, signs=LineSigns(full=True, one_sample=True))
    judgement = judged(streaks=(line,), scans=alone)
    (finding,) = (each for each in judgement.findings if isinstance(each, Diagnosis))
    assert (finding.severity, finding.confirmed) == ("warning", False)
    assert [action.text for action in judgement.actions] == [finding.action]
    assert "return" not in finding.action


def test_what_one_scan_of_a_pause_and_of_a_crease_share_is_a_note():
    (finding,) = diagnosed(streaks=(streak("carriage-pause"),), scans=two_blanks("moved"))
    assert (finding.severity, finding.confirmed) == ("note", False)
    assert finding.look == "nothing-moved"


@pytest.mark.parametrize("measure", ["shading.falloff_left_10mm", "shading.nonuniformity"])
@pytest.mark.parametrize(("lies", "sure"), [("moved", False), ("half", True)])
def test_uneven_light_is_sure_once_the_paper_was_turned(measure, lies, sure):
    rows = [measured("shading.falloff_left_10mm", 92.0, 0.1)]
    rows += [measured(f"shading.falloff_{s}_10mm", 100.0, 0.1) for s in ("right", "top", "bottom")]
    even = [measured("shading.nonuniformity", 9.0, 0.1)]
    chosen = rows if "falloff" in measure else even
    (finding,) = diagnosed(*chosen, scans=two_blanks(lies))
    assert (finding.confirmed, finding.severity) == (sure, "warning")
    assert finding.title.startswith("Look again: ") != sure


def test_a_faded_lamp_rests_on_the_earlier_check_and_little_light_needs_one():
    now = measured("noise.light_index", 5.0, 0.05, channel="luma")
    (alone,) = diagnosed(now)
    assert (alone.confirmed, alone.look) == (False, "earlier-check")
    before = summarise((replace(now, value=5.1),), (SCAN,))
    (again,) = diagnosed(now, earlier=before)
    assert again.confirmed


def test_white_strip_and_dead_element_are_told_by_evidence_or_said_to_be_alike():
    """A bright line one sample wide in all colours: both make it, however often each is met."""
    signs = LineSigns(True, STAYS, full=True, one_sample=True)
    (alike,) = diagnosed(streaks=(streak("white-strip-dirt", signs=signs),))
    assert {"white-strip-dirt", "dead-element"} <= {alike.cause, *alike.alike}
    wide = replace(signs, one_sample=False)
    (told,) = diagnosed(streaks=(streak("white-strip-dirt", signs=wide),))
    assert told.cause == "white-strip-dirt"
    assert "dead-element" not in told.alike
    one_colour = replace(signs, one_colour=True)
    (dead,) = diagnosed(streaks=(streak("dead-element", signs=one_colour),))
    assert dead.cause == "dead-element"
    assert "white-strip-dirt" not in dead.alike


@pytest.mark.parametrize("cause", ["white-strip-dirt", "kept-calibration", "dead-element"])
def test_a_new_calibration_is_forced_and_not_hoped_for(cause):
    """Drivers keep it in a file and use it again: man pages of sane-backends 1.2.1."""
    check = CAUSES[cause].check
    assert "--force-calibration" in check
    assert "--clear-calibration" in check
    assert not any("off and on, so that" in row.check for row in CAUSES.values())


@pytest.mark.parametrize(("others", "cause"), [(4, "paper"), (2, "glass-line")])
def test_a_line_that_stays_among_like_ones_that_moved_is_of_a_ruling(others, cause):
    """A ruled sheet moved by its pitch shows a line where another one was."""
    moved = tuple(
        streak("paper", at_mm=20.0 + 7 * n, visible=False, delta_L=0.5) for n in range(others)
    )
    stays = streak("glass-line", at_mm=90.0, delta_L=0.6)
    found = diagnosed(streaks=(*moved, stays), scans=two_blanks("moved"))
    (line,) = (each for each in found if any(seen.streak == others for seen in each.signs))
    assert line.cause == cause
    assert (line.severity == "note") == (cause == "paper")


def test_a_ruling_moved_by_its_pitch_seems_to_stay_and_is_not_sure():
    lines = tuple(streak("carriage-place", at_mm=20.0 + 8 * n) for n in range(5))
    (finding,) = diagnosed(streaks=lines, scans=two_blanks("moved"))
    assert (finding.severity, finding.confirmed) == ("warning", False)
    (alone,) = diagnosed(streaks=lines[:1], scans=two_blanks("moved"))
    assert alone.confirmed


def test_a_trace_in_the_file_does_not_confirm_what_it_only_comes_with():
    """Smoothed grain comes with made-up dpi, but does not show that another original has it too."""
    made_up = measured("claim.native_fraction", 0.5, 0.001, scan=SCAN.file, direction="travel")
    smoothed = measured("processing.grain_kept", 0.3, 0.01, scan=SCAN.file)
    (finding,) = diagnosed(made_up, smoothed)
    assert (finding.cause, finding.confirmed) == ("false-dpi", False)
    assert finding.look == "another-original"
    stretched = measured("processing.level_stretch", 1.3, 0.01, scan=SCAN.file)
    (alone,) = diagnosed(stretched)
    assert (alone.cause, alone.severity, alone.confirmed) == ("levels", "warning", True)
