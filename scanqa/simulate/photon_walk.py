"""How light spreads inside paper, photon by photon, and what that makes of an edge.

Photons walk through a sheet that scatters isotropically, on a back that gives light back in all
directions (Lambert). Nothing is reflected at the sheet's own surfaces. Read backwards, which the
reciprocity of light allows, a photon starts where the scanner looks and leaves where the lamp's
light came in. One walk in a sheet without borders serves for every edge and every distance:

- *ink*: light counts if it came in beside the ink, so the place where the photon leaves decides;
- *cut*: light is lost at the free face, so the farthest place that the photon reached decides.

Both are sharp steps at the edge with a soft rise behind it: `response` is their Fourier transform.

The walk shares no code with any measure; tests hold it against exact results of the theory of
radiative transfer. Isotropic scattering is a model: real papers scatter more to the side (Coppel,
Neuman, Edström, Opt. Express 19, 25181, 2011), so that the spread is told by its own index kp, not
by the mean free path.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.catalogue.paper_spread import EdgeOnPaper
from scanqa.model import Floats

SHEET_UM = 100.0
BACK = 0.85
MOST_STEPS = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class Walk:
    """Photons that came out where they went in.

    Attributes
    ----------
    reflectance : float
        Share of all that were sent.
    leaves_um, lowest_um : (photons,) float64
        Where each left, and the least place that it reached, along an axis in the sheet's plane
        from where it started.
    """

    reflectance: float
    leaves_um: Floats
    lowest_um: Floats


def walk(
    free_path_um: float,
    *,
    sheet_um: float = SHEET_UM,
    back: float = BACK,
    albedo: float = 1.0,
    photons: int = 100_000,
    seed: int = 1,
) -> Walk:
    """Send photons straight into a sheet and see where they come out.

    Parameters
    ----------
    free_path_um : float
        Mean free path between two scatterings.
    sheet_um : float
        Thickness; infinite for a half space.
    back : float
        Reflectance of what lies behind the sheet.
    albedo : float
        Share of light that a scattering leaves.
    """
    rng = np.random.default_rng(seed)
    x, depth, low = np.zeros(photons), np.zeros(photons), np.zeros(photons)
    down, along = np.ones(photons), np.zeros(photons)  # cosines
    left: list[Floats] = []
    lowest: list[Floats] = []
    for _ in range(MOST_STEPS):
        if not len(x):
            break
        step = rng.exponential(free_path_um, len(x))
        end = depth + down * step
        out, through = end < 0, end > sheet_um
        wall = np.where(out, 0.0, sheet_um)
        step = np.where(out | through, (wall - depth) / np.where(down == 0, 1.0, down), step)
        x = x + along * step
        depth = np.where(out | through, wall, end)
        low = np.minimum(low, x)
        left.append(x[out])
        lowest.append(low[out])
        goes_on = ~out & (rng.random(len(x)) < np.where(through, back, albedo))
        x, depth, low = (each[goes_on] for each in (x, depth, low))
        through = through[goes_on]
        isotropic, lambert = 2 * rng.random(len(x)) - 1, -np.sqrt(rng.random(len(x)))
        down = np.where(through, lambert, isotropic)
        turn = 2 * np.pi * rng.random(len(x))
        along = np.sqrt(np.maximum(1 - down**2, 0.0)) * np.cos(turn)
    leaves = np.concatenate(left)
    return Walk(len(leaves) / photons, leaves, np.concatenate(lowest))


def response(walked: Walk, frequency_cy_mm: Floats, edge: EdgeOnPaper) -> Floats:
    """Share of contrast that an ideal edge on the paper keeps at each frequency.

    At a distance d inside the paper the light is the share of photons whose deciding place lies
    above −d (see the module). The edge's spread is thus a step with, behind it, the density of
    the deciding places; its transform is a mean over photons.
    """
    decides = walked.leaves_um if edge == "ink" else walked.lowest_um
    begins_mm = np.maximum(-decides, 0.0) / 1000
    waves = np.exp(-2j * np.pi * np.multiply.outer(frequency_cy_mm, begins_mm))
    return np.asarray(np.abs(waves.mean(axis=1)), np.float64)


def kp_mm(walked: Walk) -> float:
    """Spread of the paper: 1 / frequency at which its own response is one half.

    The paper's own response is that to a pattern of light on it: the transform of where photons
    leave (the index of J. S. Arney et al., J. Imaging Sci. Technol. 47(4)).
    """
    frequency = np.geomspace(0.5, 400.0, 400)
    waves = np.cos(2 * np.pi * np.multiply.outer(frequency, walked.leaves_um / 1000))
    own = waves.mean(axis=1)
    at = int(np.flatnonzero(own < 0.5)[0])
    return float(1 / np.interp(0.5, own[[at, at - 1]], frequency[[at, at - 1]]))
