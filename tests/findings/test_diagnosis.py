"""Signs lead to the right first cause, with an action, and a caution where it can hurt."""

import pytest

from scanqa.findings import judge
from scanqa.findings.diagnosis import diagnose
from scanqa.model import Mark, Measurement, Results, ScanFacts, Streak

SCAN = ScanFacts(
    "bed-sheet.tif", "bed-sheet", 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, "bed-sheet-a4",
    "tiff", False, "sRGB assumed", "0" * 64, "",
)  # fmt: skip


def streak(cause, polarity="dark", visible=True, contrast=2.0):
    return Streak(
        at_mm=100.0, at_px=1181.0, width_um=85.0, contrast_percent=contrast, delta_L=0.8,
        polarity=polarity, channels=("luma",), extent_mm=(0.0, 297.0), significance=20.0,
        likely_cause=cause, visible=visible, scan="blank-1.tif",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("cause", "polarity", "first"),
    [
        ("dirt in the moving light path or on the sensor window", "dark", "sensor window"),
        ("dirt on the white calibration strip", "bright", "calibration strip"),
        ("dead or weak sensor element", "dark", "sensor element"),
        ("joins of a contact sensor's segments", "dark", "sensor segments"),
        ("on the glass", "dark", "glass"),
        ("in the paper", "dark", "paper"),
    ],
)
def test_a_streak_leads_to_its_cause(cause, polarity, first):
    (finding,) = diagnose(Results(streaks=(streak(cause, polarity),)), (SCAN,))
    assert first in finding.causes[0]
    assert finding.action


def test_cleaning_and_opening_carry_cautions():
    (finding,) = diagnose(Results(streaks=(streak("moving light path"),)), (SCAN,))
    assert "Unplug" in finding.caution
    assert "local codes" in finding.caution


def test_an_invisible_streak_is_a_note_and_asks_for_nothing():
    judgement = judge(Results(streaks=(streak("moving", visible=False, contrast=0.2),)), (SCAN,))
    assert judgement.actions == ()


def sfr50(value, at_mm, direction="across"):
    return Measurement(
        "sharpness.sfr50", value, 0.05, scan=SCAN.file, at_mm=at_mm, direction=direction
    )


def over_the_bed(value_at):
    return tuple(
        sfr50(value_at(x, y), (float(x), float(y)))
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
    titles = [f.title for f in diagnose(Results(sites), (SCAN,))]
    assert [t for t in titles if t.startswith(f"Softer at the {where}: SFR50 2.0")]


def test_an_evenly_soft_scanner_is_soft_but_not_tilted():
    even = over_the_bed(lambda x, y: 2.0)
    effective = tuple(
        Measurement(
            "sharpness.effective_dpi", 180.0, 2.0, scan=SCAN.file, at_mm=m.at_mm,
            direction="across",
        )
        for m in even
    )  # fmt: skip
    titles = [f.title for f in diagnose(Results(even + effective), (SCAN,))]
    assert any("180 dpi of the 300 dpi" in t for t in titles)
    assert not any("Softer at" in t for t in titles)


def test_marks_shadow_and_gutter_are_reported_with_numbers():
    results = Results(
        (
            Measurement("edges.shadow_left", 3.1, 0.1),
            Measurement("edges.shadow_right", 0.0, 0.1),
            Measurement("gutter.delta_L_at_5mm", 9.0, 0.2),
        ),
        marks=(Mark((50.0, 60.0), (0.4, 0.4), 4.0, "dark", "spot", "blank-1.tif"),),
    )
    titles = [f.title for f in diagnose(results, (SCAN,))]
    assert "Shadow 3.1 mm deep along the left edge" in titles
    assert not any("right edge" in t for t in titles)
    assert any("9.0 L* at 5 mm" in t for t in titles)
    assert any(t == "Marks on the glass: 1" for t in titles)


def test_interpolated_dpi_is_a_fault_with_its_direction_and_scan():
    native = Measurement("claim.native_fraction", 1.0, scan=SCAN.file, direction="across")
    doubled = Measurement(
        "claim.native_fraction", 0.5, 0.001, reason="linear interpolation from about 150 dpi",
        scan=SCAN.file, direction="travel",
    )  # fmt: skip
    (finding,) = diagnose(Results((native, doubled)), (SCAN,))
    assert finding.title == "The dpi is made up: only 50 % of it is real (travel)"
    assert finding.severity == "fault"
    assert "linear interpolation" in finding.reason


def test_a_healthy_unit_has_nothing_to_do():
    sites = tuple(
        Measurement(
            "sharpness.effective_dpi", 295.0, 2.0, scan=SCAN.file, at_mm=(x, 50.0),
            direction=direction,
        )
        for x in (20.0, 100.0, 180.0)
        for direction in ("across", "travel")
    )  # fmt: skip
    judgement = judge(Results(sites), (SCAN,))
    assert judgement.actions == ()
    assert judgement.outcome.fitness == "fit"
