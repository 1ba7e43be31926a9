"""Sharpness of stretched scans: n samples an inch hold n / 2 cycles (Nyquist), no more."""

from types import SimpleNamespace

import pytest

from scanqa.measures.processing import without_made_up_detail
from scanqa.model import Measurement, Results, Shared, with_doubt


def scan(name, dpi):
    return SimpleNamespace(scan=SimpleNamespace(name=name), dpi=(dpi, dpi))


def sharp(value, status="ok", name="sharpness.effective_dpi"):
    why = {"reason": "rough print", "reason_kind": "print"} if status != "ok" else {}
    return Measurement(name, value, 2.0, status, scan="sheet", direction="across", **why)


def factor(value, scan="page", direction="across"):
    return Measurement("claim.factor", value, scan=scan, direction=direction)


def bent(value=0.0, scan="sheet"):
    return Measurement(
        "processing.grain_kept", value, 0.01, "ok", "bent", scan, reason_kind="software",
        direction="across",
    )  # fmt: skip


SCANS = [scan("sheet", 300.0), scan("page", 300.0), scan("fine", 600.0)]


def honest(*measured):
    return without_made_up_detail(Results(measured), SCANS).measurements[0]


@pytest.mark.parametrize(
    ("name", "value", "held"),
    [
        ("sharpness.effective_dpi", 288.0, 200.0),
        ("sharpness.sampling_efficiency", 96.0, 100 * 200 / 300),
        ("sharpness.sfr10", 5.7, 200 / 25.4 / 2),
    ],
)
@pytest.mark.parametrize("status", ["ok", "at-least"])
def test_three_hundred_dpi_made_of_two_hundred_hold_two_hundred(name, value, held, status):
    found = honest(sharp(value, status, name), factor(1.5))
    assert found.value == pytest.approx(held)
    assert (found.status, found.reason_kind) == ("ok", "software")


def test_what_is_replaced_brings_no_part_of_its_old_doubt():
    """A bound behind a print carries shared parts; what the samples hold has none of them."""
    before = with_doubt(sharp(280.0, "at-least"), Shared("print", "ours", 9.0))
    after = honest(before, factor(1.5))
    assert (after.value, after.uncertainty, after.shared) == (pytest.approx(200.0), None, ())


def test_what_the_original_samples_can_hold_stays():
    assert honest(sharp(150.0), factor(1.5)) == sharp(150.0)


@pytest.mark.parametrize(
    "other", [factor(2.0, "fine"), factor(1.5, direction="travel"), factor(1.0)]
)
def test_a_factor_of_another_dpi_or_way_or_of_one_changes_nothing(other):
    assert honest(sharp(288.0), other) == sharp(288.0)


def test_bent_grain_without_a_known_factor_makes_a_bound_and_of_a_lower_bound_nothing():
    found = honest(sharp(288.0), bent())
    assert (found.value, found.status) == (288.0, "at-most")
    nothing = honest(sharp(288.0, "at-least"), bent())
    assert (nothing.value, nothing.status) == (None, "not-measurable")
    assert found.reason_kind == nothing.reason_kind == "software"


@pytest.mark.parametrize("others", [(bent(1.0),), (bent(scan="page"),), (bent(), factor(1.0))])
def test_white_grain_or_a_factor_of_one_leaves_sharpness_alone(others):
    assert honest(sharp(288.0), *others) == sharp(288.0)
