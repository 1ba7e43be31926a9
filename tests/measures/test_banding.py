"""Waves of known period and size along travel; seeds in each test.

100 Hz and 120 Hz are twice the mains frequencies of 50 and 60 Hz. The amplitude is half of crest
to trough of the sine that was multiplied in.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.measures import banding
from scanqa.measures.banding.periodic import waves
from scanqa.model import Told
from tests.measures.blank_paper import MM, grain, light_of_paper, placed, scanned

DPI = 300
SHAPE = (3508, 620)


def blank(seed, *, period_mm=None, amplitude=0.0, phase=0.0, shape=SHAPE, name="blank.tif"):
    light, rng = light_of_paper(seed, shape, dpi=DPI)
    if period_mm:
        y_mm = (np.arange(shape[0]) + 0.5) * MM / DPI
        wave = 1 + amplitude * np.cos(2 * np.pi * y_mm / period_mm + phase)
        light *= wave[:, None].astype(np.float32)
    return scanned(light, rng, dpi=DPI, name=name)


def values(results):
    return results.named("banding.amplitude"), results.named("banding.period")


@pytest.mark.parametrize("period_mm", [0.25, 2.032, 9.4, 25.0])
def test_period_and_amplitude(period_mm):
    (amplitude,), (period,) = values(
        banding.measure([blank(1, period_mm=period_mm, amplitude=0.004)], Told())
    )
    assert amplitude.value == pytest.approx(0.4, abs=4 * amplitude.uncertainty + 0.01)
    assert period.value == pytest.approx(period_mm, rel=0.01)
    assert abs(period.value - period_mm) < 5 * period.random + 1e-5 * period_mm
    assert amplitude.direction == "travel"


def test_clean_paper_has_no_banding():
    for seed in range(5):
        results = banding.measure([blank(10 + seed)], Told())
        (amplitude,), period = values(results)
        # None found is at most what would have been; a band that is seen has 0.25 %.
        assert (amplitude.status, amplitude.reason_kind) == ("at-most", "noise")
        assert 0 < amplitude.uncertainty < 0.05
        assert amplitude.uncertainty < amplitude.value < 0.1
        assert period == ()


def test_lamp_flicker_at_twice_the_mains_needs_the_line_time():
    # 10 ms is one cycle at 100 Hz; 1.25 ms a row makes it 8 rows
    period_mm = 8 * MM / DPI
    pair = [
        blank(20, period_mm=period_mm, amplitude=0.004, name="a.tif"),
        blank(21, period_mm=period_mm, amplitude=0.004, phase=2.0, name="b.tif"),
    ]
    told = banding.measure(pair, Told(line_time_ms=1.25)).named("banding.period")[0].reason
    assert told.startswith("flicker of the lamp")
    assert "100 Hz" in told
    untold = banding.measure(pair, Told()).named("banding.period")[0].reason
    assert "1.25 ms (50 Hz mains)" in untold
    other = banding.measure(pair, Told(line_time_ms=2.0)).named("banding.period")[0].reason
    assert "not the mains" in other


def test_same_phase_in_all_scans_is_the_carriage():
    pair = [blank(seed, period_mm=2.032, amplitude=0.005, name=f"{seed}") for seed in (30, 31)]
    reason = banding.measure(pair, Told(line_time_ms=1.25)).named("banding.period")[0].reason
    assert reason.startswith("fine parts of the carriage's drive")  # no part is named by one look
    assert "tied to the carriage" in reason


def test_clipped_and_tiny_scans_are_not_measurable():
    clipped = placed(np.full((1000, 1000), 255, np.uint8), dpi=DPI)
    tiny = blank(40, shape=(300, 300))
    for scan, word in ((clipped, "top of the scale"), (tiny, "too short")):
        results = banding.measure([scan], Told())
        assert [m.value for m in results.measurements] == [None, None]
        assert all(word in m.reason for m in results.measurements)


def test_stated_uncertainty_holds_the_scatter():
    errors, stated = [], []
    for seed in range(30):
        scan = blank(50 + seed, period_mm=3.3, amplitude=0.004, phase=seed)
        (amplitude,), (period,) = values(banding.measure([scan], Told()))
        errors.append([amplitude.value - 0.4, period.value - 3.3])
        stated.append([amplitude.uncertainty, period.random])  # of one dpi
    ratio = np.std(errors, axis=0) / np.mean(stated, axis=0)
    assert np.all((ratio > 0.6) & (ratio < 1.4))  # 30 repeats know a deviation to 13 %


@pytest.mark.parametrize("cycles", [7.0, 8.4, 12.3, 40.7])
@pytest.mark.parametrize("noise", [1e-4, 0.2])
def test_few_cycles_do_not_pull_the_period(cycles, noise):
    """Sines of known period; their mirror pulls at the peak of a spectrum by up to 1 %."""
    rng = np.random.default_rng(7)
    rows, longest = 900, 110.0
    kept = rows - 2 * round(0.75 * longest)  # the ends that the background takes
    period, off, stated = kept / cycles, [], []
    for phase in np.linspace(0, 6, 24):
        x = np.arange(rows)
        profile = np.cos(2 * np.pi * x / period + phase) + noise * rng.standard_normal(rows)
        wave = next(waves(profile, longest=longest, false_alarms=1e-4))
        off.append(wave.period - period)
        stated.append(wave.period_error)
    assert abs(np.mean(off)) < 4 * np.mean(stated) / np.sqrt(len(off)) + 2e-6 * period
    # Neighbours of a strong line lift the floor: then more is stated than is there.
    assert np.std(off) < 1.5 * np.mean(stated)


def test_side_lobes_of_what_is_too_slow_are_no_waves():
    x = np.arange(900)
    slow = np.cos(2 * np.pi * x / 125) + 1e-4 * np.random.default_rng(8).standard_normal(900)
    found = list(waves(slow, longest=110.0, false_alarms=1e-4))
    assert all(wave.period > 110 for wave in found)
    two = slow + 0.02 * np.cos(2 * np.pi * x / 23)
    assert any(abs(w.period / 23 - 1) < 1e-3 for w in waves(two, longest=110.0, false_alarms=1e-4))


def test_the_period_leaves_open_how_true_the_dpi_is():
    """A carriage that is 0.4 % off what its file states: nothing in a blank scan tells."""
    scan = blank(7, period_mm=3.3 * 1.004, amplitude=0.004)
    (_, (period,)) = values(banding.measure([scan], Told()))
    assert abs(period.value - 3.3) < 1.96 * period.uncertainty
    assert period.random < 1e-3 * period.value
    assert [part.kind for part in period.shared] == ["rule"]


@settings(max_examples=6, deadline=None)
@given(period=st.floats(0.3, 20.0), phase=st.floats(-3, 3), seed=st.integers(0, 99))
def test_upside_down_scan_has_the_same_bands(period, phase, seed):
    scan = blank(seed, period_mm=period, amplitude=0.01, phase=phase, shape=(2000, 320))
    turned = placed(np.ascontiguousarray(scan.scan.pixels[::-1]), dpi=DPI)
    (one,), (of_one,) = values(banding.measure([scan], Told()))
    (other,), (of_other,) = values(banding.measure([turned], Told()))
    assert other.value == pytest.approx(one.value, rel=0.02)
    assert of_other.value == pytest.approx(of_one.value, rel=1e-3)


def one(results, name):
    (found,) = results.named(name)[:1]
    return found


def test_crests_that_stay_and_crests_that_move():
    stay = [blank(20 + n, period_mm=3.0, amplitude=0.004, phase=1.0) for n in range(2)]
    assert one(banding.measure(stay, Told()), "banding.phase_spread").value < 0.1
    phases = (0.0, 2.0)
    move = [blank(30 + n, period_mm=3.0, amplitude=0.004, phase=phases[n]) for n in range(2)]
    # Circular standard deviation of two angles 2 rad apart: √(−2 ln cos 1).
    expected = np.sqrt(-2 * np.log(np.cos(1.0)))
    found = one(banding.measure(move, Told()), "banding.phase_spread")
    assert found.value == pytest.approx(expected, abs=0.1)


def test_frequency_follows_from_the_time_of_a_line():
    scan = blank(40, period_mm=10 * MM / DPI, amplitude=0.004)
    found = one(banding.measure([scan], Told(line_time_ms=1.0)), "banding.frequency")
    assert found.value == pytest.approx(100.0, abs=3 * found.uncertainty + 0.05)
    period = one(banding.measure([scan], Told()), "banding.period")
    assert found.uncertainty / found.value == pytest.approx(period.random / period.value)
    (unknown,) = [
        m for m in banding.measure([scan], Told()).measurements if m.name == "banding.frequency"
    ]
    assert unknown.status == "not-measurable"


@pytest.mark.parametrize("rms", [0.0, 0.002])
def test_rows_that_differ_irregularly(rms):
    """White noise that whole rows share, of known rms; the paper's own grain adds in squares."""
    light, rng = light_of_paper(50, SHAPE, dpi=DPI)
    light *= (1 + rms * rng.standard_normal(SHAPE[0]))[:, None].astype(np.float32)
    found = one(banding.measure([scanned(light, rng, dpi=DPI)], Told()), "banding.unsteadiness")
    assert found.value == pytest.approx(100 * rms, abs=0.03)


@pytest.mark.parametrize("cloud_mm", [1.5, 5.0])
def test_rows_of_clouds_are_not_unsteady(cloud_mm):
    """Clouds of 2 % that neighbouring columns share, and far ones do not."""
    beyond = []
    for seed in range(4):
        light, rng = light_of_paper(60 + seed, (1300, 1000), dpi=150, curl=False)
        light *= 1 + 0.02 * grain(light.shape, rng, cloud_mm * 150 / MM)
        results = banding.measure([scanned(light, rng, dpi=150)], Told())
        found = one(results, "banding.unsteadiness")
        beyond.append(found.value - 2 * found.uncertainty)
    assert max(beyond) < 0.06  # % from which on rows count as unsteady


def test_a_strong_wave_has_its_amplitude():
    found = banding.measure([blank(50, period_mm=3.3, amplitude=0.05)], Told())
    assert one(found, "banding.amplitude").value == pytest.approx(5.0, rel=0.01)


def test_without_a_band_its_error_is_that_of_white_rows():
    """Rows of white noise s: the amplitude under a Hann window is off by s √(3/n) (Harris 1978)."""
    light, rng = light_of_paper(0, SHAPE, dpi=DPI, texture=0.0, curl=False)
    results = banding.measure([scanned(light, rng, dpi=DPI, bits=16)], Told())
    of_a_row = 0.006 * float(np.mean(1 / light)) / np.sqrt(SHAPE[1])
    truth = 100 * of_a_row * np.sqrt(3 / SHAPE[0])
    assert one(results, "banding.amplitude").uncertainty == pytest.approx(truth, rel=0.25)


def test_unsteadiness_and_its_error_count_a_tenth_of_the_rows():
    """Rows that differ by 1 % rms; a root mean square of k values is known to 1/√2k of itself."""
    light, rng = light_of_paper(50, SHAPE, dpi=DPI)
    light *= (1 + 0.01 * rng.standard_normal(SHAPE[0]))[:, None].astype(np.float32)
    found = one(banding.measure([scanned(light, rng, dpi=DPI)], Told()), "banding.unsteadiness")
    assert found.value == pytest.approx(1.0, rel=0.04)
    assert found.uncertainty == pytest.approx(np.sqrt(10 / (2 * SHAPE[0])), rel=0.15)
