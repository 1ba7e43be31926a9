"""Reversal against machines and plates whose errors are known because they were made up."""

import numpy as np
import pytest
from scipy.special import eval_legendre

from scanqa.measures.geometry.separate import Reading, _machine_fields, metrics, separate

NOISE_MM = 0.003
MACHINE = np.array([[25.4 / 300.6, -25.4 / 299.1 * np.sin(0.001)], [0, 25.4 / 299.1]])
PLATE = np.array([[1.0, 0.0005], [0.0, 1.007]])
YS, XS = np.mgrid[0:7, 0:5]
NOMINAL = np.stack([20 + 42.5 * XS, 20 + 42.8 * YS], axis=-1).reshape(-1, 2)


def machine_bend(at):
    """Cubic scale along the sensor, bowed sensor line, unsteady advance; at most 0.1 mm."""
    x, y = ((at - 150) / 150).T
    return np.stack([0.1 * x**3 + 0.02 * y**2, 0.05 * np.sin(3 * y) + 0.03 * x**2], axis=1)


def reading(rng, turn_deg, plate_bend, *, size=(300.0, 300.0)):
    """Lay the plate turned on the machine; what lies off it is not read. Returns places too."""
    turn = np.deg2rad(turn_deg + rng.normal(0, 0.5))
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    drawn = NOMINAL @ PLATE.T + plate_bend
    true = (drawn - [105, 148]) @ matrix.T + 150 + rng.normal(0, 5, 2)
    seen = true + machine_bend(true) + rng.normal(0, NOISE_MM, true.shape)
    on = np.all((true > 5) & (true < np.array(size) - 5), axis=1)
    read = seen[on] @ np.linalg.inv(MACHINE).T
    return Reading(tuple(np.flatnonzero(on).tolist()), NOMINAL[on], read), true[on]


def slope(x, y):
    return np.linalg.lstsq(np.column_stack([np.ones(len(x)), x]), y, rcond=None)[0][1:].T


def plate_bends(found, points):
    return np.array([found.plate_bends[number] for number in points])


def one_trial(rng, turns):
    """Errors over standard errors: steps across and down, angle, bends and the plate's (rms).

    Then the largest error of a step, and errors of the plate's lengths and angle over theirs.
    """
    plate_bend = rng.normal(0, 0.03, NOMINAL.shape)
    pairs = [reading(rng, turn, plate_bend) for turn in turns]
    readings, places = [r for r, _ in pairs], np.concatenate([p for _, p in pairs])
    found = separate(readings, NOISE_MM)
    # Straight parts of the bends belong to the scales: move them there in the truth as well.
    points = sorted({number for r in readings for number in r.index})
    lean = slope(places, machine_bend(places))
    plate = (np.eye(2) + slope(NOMINAL[points] @ PLATE.T, plate_bend[points])) @ PLATE
    machine = (np.eye(2) - lean) @ MACHINE / np.sqrt(np.linalg.det(plate))
    truth = machine.T @ machine
    bend = machine_bend(places) - (places - places.mean(0)) @ lean.T
    bend -= bend.mean(0)
    drawn = NOMINAL[points] @ PLATE.T
    own = plate_bend[points] - (drawn - drawn.mean(0)) @ slope(drawn, plate_bend[points]).T
    own -= own.mean(0)
    metric = found.metrics.machine
    steps = np.sqrt(np.diag(metric) / np.diag(truth)) - 1
    angle = (metric[0, 1] - truth[0, 1]) / np.sqrt(truth[0, 0] * truth[1, 1])
    return (
        *(steps / found.relative_errors),
        angle / found.angle_error,
        np.sqrt((((found.bends - bend) / found.bend_errors) ** 2).mean()),
        np.sqrt(((plate_bends(found, points) - own) ** 2).mean()) / found.plate_bend_error,
        np.abs(steps).max(),
        *_plate_errors(found, plate),
    )


def _plate_errors(found, plate):
    """Lengths of its two steps (area 1) and the angle between them, over their stated errors."""
    truth = plate.T @ plate / np.linalg.det(plate)
    metric = found.metrics.plate
    steps = np.sqrt(np.diag(metric) / np.diag(truth)) - 1
    angle = (metric[0, 1] - truth[0, 1]) / np.sqrt(truth[0, 0] * truth[1, 1])
    return [*steps, angle] / np.array(found.plate_errors)


@pytest.mark.parametrize("turns", [(0, 90), (0, 90, 180), (0, 90, 180, 270)])
def test_errors_are_small_and_as_stated(turns):
    rng = np.random.default_rng(4)
    trials = np.array([one_trial(rng, turns) for _ in range(12)])
    z = np.sqrt((trials[:, :5] ** 2).mean(axis=0))
    assert np.all(z < 1.5)  # one sigma, as 12 trials and a basis that is not quite the truth allow
    assert np.all(z > 0.4)
    assert trials[:, 5].max() < 2e-4
    of_plate = np.sqrt((trials[:, 6:] ** 2).mean(axis=0))
    assert np.all((of_plate > 0.4) & (of_plate < 1.6))


def test_half_turns_alone_tell_nothing():
    rng = np.random.default_rng(1)
    pair = [reading(rng, turn, 0 * NOMINAL)[0] for turn in (0, 180)]
    assert separate(pair, NOISE_MM) is None


def test_exact_readings_give_the_exact_metrics():
    matrices = []
    for turn in (0.01, 1.58, 3.1):
        c, s = np.cos(turn), np.sin(turn)
        matrices.append(np.linalg.inv(PLATE) @ np.array([[c, s], [-s, c]]) @ MACHINE)
    found = metrics(matrices)
    unit = np.linalg.det(PLATE)
    np.testing.assert_allclose(found.machine, MACHINE.T @ MACHINE / unit, rtol=1e-9)
    np.testing.assert_allclose(found.plate, PLATE.T @ PLATE / unit, rtol=1e-9)


@pytest.mark.parametrize("lean", [-0.004, 0.004])
def test_a_plate_may_lean_either_way(lean):
    plate = np.array([[1.0, lean], [0.0, 1.007]])
    turns = (np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]]) for t in (0, 1.6, 3.1))
    found = metrics([np.linalg.inv(plate) @ turn @ MACHINE for turn in turns])
    np.testing.assert_allclose(found.plate, plate.T @ plate / np.linalg.det(plate), rtol=1e-9)


def test_what_is_left_over_is_the_noise_for_as_many_numbers_as_were_free():
    rng = np.random.default_rng(3)
    found = [
        separate([reading(rng, turn, 0 * NOMINAL)[0] for turn in (0, 90, 180)], NOISE_MM / 3).noise
        for _ in range(8)
    ]
    assert np.mean(found) == pytest.approx(NOISE_MM, rel=0.12)


def test_two_different_plates_leave_a_mismatch():
    rng = np.random.default_rng(2)
    other = rng.normal(0, 0.2, NOMINAL.shape)
    mixed = [reading(rng, 0, other)[0], reading(rng, 90, -other)[0], reading(rng, 180, other)[0]]
    assert separate(mixed, NOISE_MM).noise > 0.05


def test_fields_of_a_line_sensor_on_a_carriage_are_those_of_its_mechanics():
    """Legendre polynomials by scipy; what each axis may bend by, from how the carriage moves."""
    unit = np.random.default_rng(5).uniform(-1, 1, (40, 2))
    x, y = unit.T

    def p(degree, at):
        return eval_legendre(degree, at)

    right = [x, y, p(2, x), p(3, x), p(4, x), p(2, y), p(3, y), p(4, y), p(5, y), x * y]
    down = [x, y, p(2, y), p(3, y), p(4, y), p(5, y), p(2, x), p(3, x), x * y, x * p(2, y)]
    zero = np.zeros_like(x)
    wanted = [np.stack([field, zero], axis=1) for field in right]
    wanted += [np.stack([zero, field], axis=1) for field in down]
    np.testing.assert_allclose(_machine_fields(unit), np.stack(wanted, axis=2), atol=1e-12)
