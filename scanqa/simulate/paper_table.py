"""The table of light spread in paper, made anew by walking photons.

Run by hand (a minute)::

    python -m scanqa.simulate.paper_table --write     # into catalogue/paper_spread.toml
"""

from __future__ import annotations

import argparse
import sys
from importlib import resources
from pathlib import Path

import numpy as np

from scanqa.catalogue.paper_spread import EdgeOnPaper
from scanqa.simulate.photon_walk import BACK, SHEET_UM, kp_mm, response, walk

PATHS_UM = (2.0, 4.0, 6.0, 9.0, 13.0, 19.0, 27.0, 38.0, 54.0)
FREQUENCIES = np.arange(0.0, 41.0)
PHOTONS, SEED = 200_000, 7
EDGES: tuple[EdgeOnPaper, ...] = ("ink", "cut")
HEAD = f"""\
# Made by `python -m scanqa.simulate.paper_table --write`; do not edit by hand.
# What edges on paper keep of an ideal step, by frequency, for papers of unlike spread kp (mm):
# isotropic scattering in {SHEET_UM:g} µm on a back of {BACK:g} (scanqa.simulate.photon_walk),
# {PHOTONS} photons each.
"""


def table() -> str:
    """The file's text."""
    text = HEAD + f"frequency_cy_mm = {[float(f) for f in FREQUENCIES]}\n"
    for path in PATHS_UM:
        walked = walk(path, photons=PHOTONS, seed=SEED)
        text += f"\n[[paper]]\nfree_path_um = {path}\nkp_mm = {kp_mm(walked):.4f}\n"
        for edge in EDGES:
            kept = ", ".join(f"{value:.4f}" for value in response(walked, FREQUENCIES, edge))
            text += f"{edge} = [{kept}]\n"
    return text


def main() -> int:
    """Print or write."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--write", action="store_true")
    if parser.parse_args().write:
        path = Path(str(resources.files("scanqa.catalogue"))) / "paper_spread.toml"
        path.write_text(table(), "utf-8")
    else:
        sys.stdout.write(table())
    return 0


if __name__ == "__main__":
    sys.exit(main())
