"""Two rulers told apart by turning one of them.

A plate whose points are known only nominally is measured several times by a machine whose scales
are not known either, lying differently each time. A turn carries the plate's errors round with it
while the machine's stay: that is how straightedges, squares and grids have long been calibrated
without a better one (reversal; Evans, Hocken & Estler 1996, "Self-calibration", from memory).

*Scales and squareness.* In measurement k let ``plate = B_k reading + c_k``. With S the machine's
matrix (reading to true) and P the plate's (nominal to true) only a turn lies between them,
``S = R_k P B_k``, so their metrics ``H = SᵀS`` and ``G = PᵀP`` obey ``H = B_kᵀ G B_k``: three
equations a measurement, linear in the six numbers of H and G, which are found but for a common
factor as the null vector. Turns by 0° and 180° alone give the same equations: then there are
further null vectors, and nothing can be told.

*Bends.* What is left is split by a linear Gaussian model: a smooth field fixed to the machine, a
free displacement of each point of the plate that turns with it, and a small motion of each
measurement. Priors are wide; a pattern that looks the same on both (cubic stretch in both axes
alike, say) stays undecided and its share shows in the standard errors.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre

from scanqa.model import Floats

SEPARABLE = 0.05  # second smallest singular value over the largest
PRIOR_MM = 0.3  # standard deviation of bends before anything is known
ROUNDS = 3


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """One measurement: nominal points of the plate and what the machine read, (n, 2) each.

    `index` names the plate's points, so that they can be recognised in other measurements.
    """

    index: tuple[int, ...]
    nominal: Floats
    read: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Metrics:
    """Metrics of machine and plate, (2, 2) symmetric, with det G = 1."""

    machine: Floats
    plate: Floats


def metrics(matrices: Sequence[Floats]) -> Metrics | None:
    """Tell machine and plate apart from matrices (2, 2) of reading to nominal.

    Returns
    -------
    Metrics or None
        None if the turns do not allow it.
    """
    unit = math.sqrt(abs(float(np.linalg.det(matrices[0]))))
    rows = []
    for matrix in matrices:
        (a, b), (c, d) = matrix / unit
        # H00, H01, H11 less (Bᵀ G B) of G00, G01, G11
        rows += [
            [1, 0, 0, -a * a, -2 * a * c, -c * c],
            [0, 1, 0, -a * b, -(a * d + b * c), -c * d],
            [0, 0, 1, -b * b, -2 * b * d, -d * d],
        ]
    values, vectors = np.linalg.svd(np.array(rows, float))[1:]
    values = np.concatenate([values, np.zeros(6 - len(values))])
    if values[4] < SEPARABLE * values[0]:
        return None
    h, g = vectors[5][:3], vectors[5][3:]
    machine = np.array([[h[0], h[1]], [h[1], h[2]]])
    plate = np.array([[g[0], g[1]], [g[1], g[2]]])
    size = float(np.linalg.det(plate))
    if size <= 0 or float(np.linalg.det(machine)) <= 0:
        return None
    factor = math.copysign(1 / math.sqrt(size), plate[0, 0])
    return Metrics(machine * factor * unit**2, plate * factor)


def root(metric: Floats) -> Floats:
    """Upper triangular S with SᵀS = metric: the first axis is kept, the second leans."""
    return np.asarray(np.linalg.cholesky(metric).T)


@dataclass(frozen=True, slots=True, eq=False)
class Separation:
    """Machine and plate, told apart.

    Attributes
    ----------
    metrics : Metrics
        With the bends taken into account; det of the plate's is 1.
    relative_errors : (x, y)
        Standard error of the lengths of the machine's two steps, given the plate's mean scale.
    angle_error : float
        Standard error of the angle between them, in radian.
    plate_errors : (x, y, angle)
        The same of the plate.
    at : (points, 2)
        Places on the machine (true mm) of every point of every reading.
    bends, bend_errors : (points, 2)
        Displacement of the machine's reading there after scale and shear, and its standard error.
    plate_bends : mapping from point to (2,)
        Displacement of each point of the plate, in the plate's own axes.
    plate_bend_error : float
        Its standard error, root mean square.
    noise : float
        Root mean square of what neither explains.
    """

    metrics: Metrics
    relative_errors: tuple[float, float]
    angle_error: float
    plate_errors: tuple[float, float, float]
    at: Floats
    bends: Floats
    bend_errors: Floats
    plate_bends: dict[int, Floats]
    plate_bend_error: float
    noise: float


def separate(readings: Sequence[Reading], noise_mm: float) -> Separation | None:
    """Tell the machine's geometry from the plate's.

    Parameters
    ----------
    readings : sequence of Reading
        At least four points in each; nominal lengths in mm.
    noise_mm : float
        Least standard error of one coordinate of one point in one reading; what is left over
        counts if it is larger.

    Returns
    -------
    Separation or None
        None if the plate was not turned in a way that tells them apart.
    """
    found = metrics([_linear(reading.read, reading.nominal).T for reading in readings])
    if found is None:
        return None
    noise = noise_mm
    for _ in range(ROUNDS):
        split = _split(readings, found, noise)
        noise = max(noise_mm, split.noise)
        found = split.metrics
    return split


def _linear(x: Floats, y: Floats) -> Floats:
    """Matrix M, (2, 2), of the best ``y = x @ M + constant``."""
    design = _straight(x)
    return np.asarray(np.linalg.lstsq(design, y, rcond=None)[0][1:])


def _split(readings: Sequence[Reading], found: Metrics, noise_mm: float) -> Separation:
    """One linear step: bends of machine and plate, and corrections to their straight maps."""
    machine, plate = root(found.machine), root(found.plate)
    points = sorted({number for reading in readings for number in reading.index})
    drawn = _mean_places(readings, points) @ plate.T
    at = np.concatenate([reading.read @ machine.T for reading in readings])
    middle, half = (at.max(0) + at.min(0)) / 2, (at.max(0) - at.min(0)) / 2
    fields = _machine_fields((at - middle) / half)
    design, left = _equations(readings, points, drawn, at, fields)
    flat = design.reshape(-1, design.shape[2])
    normal = flat.T @ flat / noise_mm**2 + np.eye(flat.shape[1]) / PRIOR_MM**2
    covariance = np.linalg.inv(normal)
    solution = covariance @ flat.T @ left.ravel() / noise_mm**2
    rest = left.ravel() - flat @ solution
    # Degrees of freedom that the fit used up: the trace of its hat matrix.
    free = max(len(rest) - float(np.trace(covariance @ flat.T @ flat)) / noise_mm**2, 1.0)

    count, of_plate = fields.shape[2], slice(fields.shape[2], fields.shape[2] + 2 * len(points))
    machine_map = _straight_map(at) @ fields.transpose(1, 0, 2).reshape(2 * len(at), count)
    plate_map = _straight_map(drawn) @ _by_axis(len(points))
    linear = np.zeros((8, flat.shape[1]))  # xx, xy, yx, yy of machine, then of plate
    linear[:4, :count], linear[4:, of_plate] = machine_map, plate_map
    change = linear @ solution
    lean, spread = change[:4].reshape(2, 2), change[4:].reshape(2, 2)
    new_machine = (np.eye(2) - lean) @ machine
    new_plate = (np.eye(2) + spread) @ plate
    factor = 1 / float(np.linalg.det(new_plate))
    metric = Metrics(factor * new_machine.T @ new_machine, factor * new_plate.T @ new_plate)
    errors = np.sqrt(np.diag(_COMBINE @ linear @ covariance @ linear.T @ _COMBINE.T))

    own = fields - np.einsum("pi,aik->pak", at - at.mean(axis=0), machine_map.reshape(2, 2, count))
    own -= own.mean(axis=0)
    keep = np.kron(_residual_maker(_straight(drawn)), np.eye(2))
    plate_covariance = keep @ covariance[of_plate, of_plate] @ keep.T
    moved = (keep @ solution[of_plate]).reshape(-1, 2)
    return Separation(
        metric,
        (float(errors[0]), float(errors[1])),
        float(errors[2]),
        (float(errors[3]), float(errors[4]), float(errors[5])),
        at,
        own @ solution[:count],
        np.sqrt(np.einsum("pak,kl,pal->pa", own, covariance[:count, :count], own)),
        dict(zip(points, moved, strict=True)),
        float(np.sqrt(np.diag(plate_covariance).mean())),
        float(np.sqrt((rest**2).sum() / free)),
    )


# From the linear changes (machine xx xy yx yy, plate xx xy yx yy) to: the machine's two lengths
# when the plate's mean scale is held, its angle, the plate's two lengths less their mean, its
# angle.
_COMBINE = np.array(
    [
        [-1, 0, 0, 0, -0.5, 0, 0, -0.5],
        [0, 0, 0, -1, -0.5, 0, 0, -0.5],
        [0, 1, 1, 0, 0, 0, 0, 0],
        [0, 0, 0, 0, 0.5, 0, 0, -0.5],
        [0, 0, 0, 0, -0.5, 0, 0, 0.5],
        [0, 0, 0, 0, 0, 1, 1, 0],
    ]
)


def _mean_places(readings: Sequence[Reading], points: Sequence[int]) -> Floats:
    """Nominal place of each point."""
    where = {n: p for r in readings for n, p in zip(r.index, r.nominal, strict=True)}
    return np.array([where[number] for number in points])


def _equations(
    readings: Sequence[Reading], points: Sequence[int], drawn: Floats, at: Floats, fields: Floats
) -> tuple[Floats, Floats]:
    """Design (points, 2, unknowns) and what the machine reads beyond the straight maps."""
    column = {number: k for k, number in enumerate(points)}
    count = fields.shape[2]
    design = np.zeros((len(at), 2, count + 2 * len(points) + 3 * len(readings)))
    design[:, :, :count] = fields
    left = np.empty_like(at)
    first_row = 0
    for k, reading in enumerate(readings):
        rows = slice(first_row, first_row + len(reading.index))
        which = [column[number] for number in reading.index]
        turn, expected = _laid(drawn[which], at[rows])
        left[rows] = at[rows] - expected
        for i, number in enumerate(which):
            design[first_row + i, :, count + 2 * number : count + 2 * number + 2] = turn
        motion = count + 2 * len(points) + 3 * k
        arm = expected - expected.mean(axis=0)
        arm /= np.abs(arm).max()
        design[rows, 0, motion] = design[rows, 1, motion + 1] = 1
        design[rows, 0, motion + 2], design[rows, 1, motion + 2] = -arm[:, 1], arm[:, 0]
        first_row = rows.stop
    return design, left


def _machine_fields(unit: Floats) -> Floats:
    """Displacements that a line sensor on a carriage can have, (points, 2, fields).

    Along the sensor: uneven scale, and the carriage's sideways wander with its travel; along
    travel: uneven advance, a bowed sensor line, and the carriage's yaw; both: straight maps.
    """
    x, y = unit.T
    zero = np.zeros_like(x)

    def basis(u: Floats, degrees: Sequence[int]) -> list[Floats]:
        return [legendre.legval(u, np.eye(degree + 1)[degree]) for degree in degrees]

    right = [x, y, *basis(x, (2, 3, 4)), *basis(y, (2, 3, 4, 5)), x * y]
    down = [x, y, *basis(y, (2, 3, 4, 5)), *basis(x, (2, 3)), x * y, x * basis(y, (2,))[0]]
    columns = [np.stack([field, zero], axis=1) for field in right]
    columns += [np.stack([zero, field], axis=1) for field in down]
    return np.stack(columns, axis=2)


def _laid(drawn: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Turn (2, 2) and the places of points laid by the best turn and shift (Kabsch)."""
    a, b = drawn - drawn.mean(axis=0), at - at.mean(axis=0)
    u, _, vt = np.linalg.svd(b.T @ a)
    turn = u @ np.diag([1.0, np.linalg.det(u @ vt)]) @ vt
    return turn, a @ turn.T + at.mean(axis=0)


def _straight(at: Floats) -> Floats:
    return np.column_stack([np.ones(len(at)), at - at.mean(axis=0)])


def _residual_maker(straight: Floats) -> Floats:
    return np.asarray(np.eye(len(straight)) - straight @ np.linalg.pinv(straight))


def _straight_map(at: Floats) -> Floats:
    """From displacements, all x then all y, to their best linear map xx, xy, yx, yy: (4, 2n)."""
    slopes = np.linalg.pinv(_straight(at))[1:]
    return np.kron(np.eye(2), slopes)


def _by_axis(count: int) -> Floats:
    """From displacements x, y, x, y … to all x, then all y."""
    order = np.arange(2 * count).reshape(count, 2).T.ravel()
    return np.asarray(np.eye(2 * count)[order])
