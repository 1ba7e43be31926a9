"""libvips warns of a file: nothing of it runs in Python, and nothing of it is on the terminal."""

import subprocess
import sys

import numpy as np
from PIL import Image

READS = """
import logging, sys
from pathlib import Path
from scanqa.errors import ScanqaError
from scanqa.scans.open import open_scan
from scanqa.scans.overview import overview

said = []

class Kept(logging.Handler):
    def emit(self, record):
        said.append(record.getMessage())

logging.getLogger("pyvips").addHandler(Kept())
try:
    overview(open_scan(Path(sys.argv[1])))
except ScanqaError as error:
    print(error)
print(len(said))
"""


def test_a_warning_of_libvips_stays_there(tmp_path):
    path = tmp_path / "warned-of.png"
    picture = Image.fromarray(np.full((120, 130), 200, np.uint8))
    picture.save(path, dpi=(300, 300), icc_profile=b"no profile at all" * 20)
    done = subprocess.run(
        [sys.executable, "-c", READS, path], capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "0"
    assert done.stderr == ""
