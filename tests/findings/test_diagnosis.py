"""Signs lead to the right first cause, with a check, an action, a place to stop, and a caution."""

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.findings import judge
from scanqa.findings import signs as signs_package
from scanqa.findings.diagnosis import diagnose, rank, rules
from scanqa.findings.signs import EVIDENCE, Sign
from scanqa.model import Mark, Measurement, Results, ScanFacts, Streak

SCAN = ScanFacts(
    "bed-sheet.tif", "bed-sheet", 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, "bed-sheet-a4",
    "tiff", False, "sRGB assumed", "0" * 64, "",
)  # fmt: skip
CAUSES = rules()["cause"]
ALL_SIGNS = sorted(rules()["by-accident"])


def streak(cause, polarity="dark", visible=True, delta_L=0.8, at_mm=100.0):
    return Streak(
        at_mm=at_mm, at_px=1181.0, width_um=85.0, contrast_percent=2.5 * delta_L, delta_L=delta_L,
        polarity=polarity, channels=("luma",), extent_mm=(0.0, 297.0), significance=20.0,
        likely_cause=cause, visible=visible, scan="blank-1.tif",
    )  # fmt: skip


def measured(name, value, uncertainty=0.001, **where):
    return Measurement(name, value, uncertainty, **where)


def diagnosed(*measurements, streaks=(), marks=(), scans=(SCAN,), earlier=None):
    results = Results(measurements, streaks, marks)
    return diagnose(results, scans, earlier=earlier)


def first_causes(findings):
    names = {row["name"]: cause for cause, row in CAUSES.items()}
    return [names[finding.causes[0]] for finding in findings]


# ------------------------------------------------------------------------------------- the rules


def test_every_cause_says_what_to_do_and_where_to_stop():
    for cause, row in CAUSES.items():
        assert all((row["name"], row["check"], row["action"])), cause
        assert ": " not in row["name"]  # a title is "signs: cause"
        assert 0 < row["prior"] < 1
        if not row["stop"]:  # only where there is nothing that one could go on with
            assert cause in ("paper", "not-flat")


def test_chances_are_chances_of_signs_that_exist():
    for cause, row in CAUSES.items():
        for sign, chance in row["shows"].items():
            assert sign in ALL_SIGNS, (cause, sign)
            assert 0 < chance < 1, (cause, sign)
    assert all(0 < chance < 1 for chance in rules()["by-accident"].values())


def test_every_sign_of_the_code_has_a_chance_and_a_cause():
    rooms = Path(signs_package.__file__).parent.glob("*.py")
    yielded = {n for f in rooms for n in re.findall(r'yield "([a-z-]+)"', f.read_text("utf-8"))}
    yielded |= {"specks", "long-marks"}  # yielded by a variable
    assert yielded == set(ALL_SIGNS)
    shown = {sign for row in CAUSES.values() for sign in row["shows"]}
    # Evidence alone may be of no cause; a sign without words to explain it must have one.
    assert set(ALL_SIGNS) - shown <= {"line"}


def test_whoever_would_open_it_is_warned_of_mains_and_lamp():
    """Mains, inverters of several hundred volts, mercury and solvents (common practice)."""
    for cause, row in CAUSES.items():
        opens = re.search(r"lie inside|leave th|inverter|qualified|workshop", row["stop"])
        if opens and "new glass" not in row["stop"]:
            assert {"open", "lamp", "clean"} & set(row["caution"].split("+")), cause
        if "inverter" in row["stop"] or "lamp" in row["name"]:
            assert "lamp" in row["caution"], cause
        if re.search(r"\b[Cc]lean\b", row["action"]):
            assert "clean" in row["caution"], cause
    cautions = rules()["cautions"]
    assert "local codes" in cautions["open"]
    assert "mercury" in cautions["lamp"]
    assert "several hundred volts" in cautions["lamp"]
    assert "solvents" in cautions["clean"]


def test_pairs_that_look_alike_are_causes_that_share_a_sign_or_a_line():
    of_lines = {row["cause"] for row in rules()["lines"]}
    for pair in rules()["alike"]:
        one, other = pair["causes"]
        shared = set(CAUSES[one]["shows"]) & set(CAUSES[other]["shows"])
        assert shared or {one, other} <= of_lines, pair
        assert pair["tells"]


@given(
    st.dictionaries(st.sampled_from([s for s in ALL_SIGNS if s != "line"]), st.booleans()),
    st.sampled_from(sorted({s for row in CAUSES.values() for s in row["shows"]} - {"line"})),
)
@settings(deadline=None, max_examples=60)
def test_shares_are_a_probability_and_follow_bayes_rule(seen, asked):
    signs = {name: EVIDENCE if there else () for name, there in seen.items()}
    ranking = rank(asked, signs)
    assert sum(share for _, share in ranking) == pytest.approx(1)
    assert [s for _, s in ranking] == sorted((s for _, s in ranking), reverse=True)
    by_accident = rules()["by-accident"]

    def weight(cause):  # prior × product of chances, in a second wording
        row, product = CAUSES[cause], CAUSES[cause]["prior"]
        for name, there in seen.items():
            chance = row["shows"].get(name, by_accident[name])
            product *= chance if there else 1 - chance
        return product

    one, other = ranking[0][0], ranking[-1][0]
    odds = ranking[0][1] / max(ranking[-1][1], 1e-300)
    assert odds == pytest.approx(weight(one) / weight(other), rel=1e-6)


def test_a_cause_that_is_given_explains_without_a_prior_and_relieves_others():
    signs = {"soft": (Sign("soft", "", "note"),), "invented": EVIDENCE, "sharpened": EVIDENCE}
    alone = dict(rank("sharpened", signs))
    beside = dict(rank("sharpened", signs, ["false-dpi"]))
    assert alone["sharpening"] < alone["false-dpi"]  # that explains all three
    assert beside["sharpening"] < beside["false-dpi"]  # a halo of an interpolation
    strong = signs | {"strong-halo": EVIDENCE}
    assert rank("sharpened", strong, ["false-dpi"])[0][0] == "sharpening"


def test_a_sign_that_no_cause_makes_is_a_bug_and_not_silence():
    with pytest.raises(KeyError, match="no cause"):
        rank("rises-from-the-dead", {})


# ---------------------------------------------------------------------------------------- lines


@pytest.mark.parametrize(
    ("cause", "polarity", "first"),
    [
        ("dirt in the moving light path or on the sensor window", "dark", "sensor window"),
        ("dirt on the white calibration strip", "bright", "calibration strip"),
        ("dead or weak sensor element", "dark", "sensor element"),
        ("joins between the segments of a contact sensor", "dark", "contact sensor"),
        ("dirt or a scratch on the glass, lengthwise", "dark", "glass"),
        ("the paper: the line moved with it", "dark", "paper"),
        ("the sheet of plain paper itself", "dark", "paper"),
        ("a worn or dirty place in the carriage's travel", "dark", "worn or dirty place"),
        ("a moment's step or pause of the carriage, or flicker of the lamp", "dark", "pause"),
    ],
)
def test_a_streak_leads_to_its_cause(cause, polarity, first):
    (finding,) = diagnosed(streaks=(streak(cause, polarity),))
    assert first in finding.causes[0]
    assert finding.action
    assert finding.check_next


def test_words_of_every_cause_that_lines_are_ranked_by_are_known():
    from scanqa.measures.streaks import ACROSS, ALONG, PAPER_UNTESTED

    for words in (*ALONG, *ACROSS, PAPER_UNTESTED):
        (finding,) = diagnosed(streaks=(streak(words),))
        assert finding.causes


def test_lines_of_one_cause_are_one_finding_and_faint_ones_are_counted():
    dirt = "dirt in the moving light path or on the sensor window"
    lines = (
        streak(dirt, at_mm=50.0),
        streak(dirt, at_mm=20.0),
        streak(dirt, visible=False, delta_L=0.1),
    )
    (finding,) = diagnosed(streaks=lines)
    assert finding.title.startswith("Dark lines at 20.0 and 50.0 mm and 1 too faint to be seen: ")
    many = tuple(streak(dirt, at_mm=float(at)) for at in range(10, 90, 10))
    assert diagnosed(streaks=many)[0].title.startswith("8 dark lines (the strongest at 10.0 mm)")


def test_a_line_that_is_only_just_seen_is_no_fault():
    assert diagnosed(streaks=(streak("moving", delta_L=0.25),))[0].severity == "warning"
    assert diagnosed(streaks=(streak("moving", delta_L=0.6),))[0].severity == "fault"
    assert diagnosed(streaks=(streak("the paper", delta_L=0.6),))[0].severity == "note"


def test_cleaning_and_opening_carry_cautions():
    (finding,) = diagnosed(streaks=(streak("moving light path"),))
    assert "Unplug" in finding.caution
    assert "local codes" in finding.caution
    assert "inside" in finding.stop


def test_an_invisible_streak_is_a_note_and_asks_for_nothing():
    faint = streak("moving", visible=False, delta_L=0.1)
    assert judge(Results(streaks=(faint,)), (SCAN,)).actions == ()


# ------------------------------------------------------------------------------------ sharpness


def sfr50(value, at_mm, direction="across", scan=SCAN.file):
    return measured(
        "sharpness.sfr50", value, 0.05, scan=scan, at_mm=at_mm, direction=direction,
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
    assert finding.title.startswith(f"Softer at the {where} (across): ")
    assert "SFR50 2.0 cy/mm there" in finding.reason
    assert "not flat" in finding.causes[1]  # one scan cannot tell
    assert "hardly tell it from a sheet" in finding.reason


@pytest.mark.parametrize(("then", "cause"), [("right", "tilt"), ("left", "not-flat")])
def test_turning_the_sheet_tells_tilt_from_a_curl(then, cause):
    from dataclasses import replace

    turned = replace(SCAN, file="turned.tif", rotation_deg=180)
    there = {"right": lambda x, y: x > 130, "left": lambda x, y: x < 70}[then]
    sites = (
        *over_the_bed(lambda x, y: 2.0 if x > 130 else 4.0),
        *over_the_bed(lambda x, y: 2.0 if there(x, y) else 4.0, scan="turned.tif"),
    )
    assert first_causes(diagnosed(*sites, scans=(SCAN, turned))) == [cause]


def effective(across, travel=None):
    return tuple(
        measured("sharpness.effective_dpi", value, 2.0, scan=SCAN.file, at_mm=(x, 50.0),
                 direction=direction)
        for x in (20.0, 100.0, 180.0)
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


def test_black_that_turns_grey_makes_softness_haze():
    (finding,) = diagnosed(*effective(230.0), measured("veil.stray_light", 7.0, 0.2))
    assert first_causes([finding]) == ["haze"]
    assert "mirrors" in finding.causes[0]
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
    (finding,) = diagnosed(native, doubled)
    assert finding.title.startswith(
        "Only 50 % of the dpi is real (along travel): the driver interpolates"
    )
    assert finding.severity == "fault"
    assert "linear interpolation" in finding.reason


# ---------------------------------------------------------------------------------------- light


def lamp_index(value, error=0.2):
    return tuple(
        measured("noise.light_index", value, error, scan="blank-1.tif", channel=channel)
        for channel in ("red", "green", "blue")
    )


def test_an_earlier_check_shows_a_worn_lamp():
    before = Results(lamp_index(50.0))
    (finding,) = diagnosed(*lamp_index(30.0), earlier=before)
    assert first_causes([finding]) == ["worn-lamp"]
    assert finding.title.startswith("60 % of the light of the earlier check is left")
    assert "mercury" in finding.caution
    assert "qualified" in finding.stop
    assert diagnosed(*lamp_index(49.0, 2.0), earlier=before) == ()
    assert diagnosed(*lamp_index(44.0, 6.0), earlier=before) == ()  # within what is known


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
    assert {"belt", "flicker"} <= {cause.split()[0].strip(",") for cause in finding.causes}


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
    )
    titles = [finding.title for finding in findings]
    assert any(t.startswith("Shadow 3.1 mm deep along the left edge: shade") for t in titles)
    assert not any("right edge" in t for t in titles)
    assert any("9.0 L* darker 5 mm from the spine" in t for t in titles)
    assert any(t.startswith("1 speck on the glass: dust") for t in titles)


# --------------------------------------------------------------------------------------- healthy


def test_a_healthy_unit_has_nothing_to_do():
    judgement = judge(Results(effective(295.0)), (SCAN,))
    assert judgement.actions == ()
    assert judgement.outcome.fitness == "fit"


def test_findings_come_gravest_first_with_as_many_shares_as_causes():
    findings = diagnosed(
        *banding(spread=0.02), *effective(230.0), streaks=(streak("moving", delta_L=0.9),)
    )
    order = ["fault", "warning", "note"]
    assert [f.severity for f in findings] == sorted((f.severity for f in findings), key=order.index)
    for finding in findings:
        assert finding.title.count(": ") == 1
        assert len(finding.shares) == len(finding.causes)
        assert sum(finding.shares) <= 1.001
