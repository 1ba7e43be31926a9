"""An A3 page at 600 dpi (69.6 Mpx, 209 MB) is read without ever being in memory."""

import subprocess
import sys

import numpy as np
import pytest
import pyvips

from scanqa.scans.save import save_tiff

READ = """
import sys
from pathlib import Path
from scanqa.model import Window
from scanqa.scans.open import open_scan
from scanqa.scans.overview import overview
scan = open_scan(sys.argv[1])
seen = overview(scan)
for row in range(0, scan.height_px - 400, 200):
    scan.window(Window(row, row % 6000, 400, 400))
status = Path("/proc/self/status").read_text()
print(int(status.split("VmHWM:")[1].split()[0]) // 1024, seen.column_means.mean())
"""
# VmHWM and not ru_maxrss: that one survives exec and would count the test runner.
MOST_MIB = 200  # the interpreter with its libraries takes about 100


@pytest.fixture(scope="module")
def page():
    tile = np.random.default_rng(0).integers(220, 255, (512, 7016, 3), np.uint8)
    return np.concatenate([tile] * 20)[:9921]


@pytest.mark.parametrize("name", ["raw.tif", "jpeg.jpg", "deflate.tif"])
def test_reading_a_large_scan_takes_little_memory(tmp_path, page, name):
    path = tmp_path / name
    if name == "raw.tif":
        save_tiff(path, page, 600)
    else:
        image = pyvips.Image.new_from_array(page)
        options = {"Q": 90} if name == "jpeg.jpg" else {"compression": "deflate", "level": 1}
        image.write_to_file(str(path), **options)
    done = subprocess.run(
        [sys.executable, "-c", READ, path], capture_output=True, text=True, check=True
    )
    peak, mean = done.stdout.split()
    assert int(peak) < MOST_MIB
    assert float(mean) == pytest.approx(page[:512].mean(), abs=0.5)
    assert done.stderr == ""
