"""Time and memory to read a blank A3 page at 600 dpi: python -m tests.benchmarks.reading.

Each file is read in a process of its own; files are in the page cache, as after a scan. Peak is
the process's largest resident size (VmHWM), interpreter and libraries included.
"""

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import pyvips

from scanqa.scans.save import save_jpeg, save_png, save_tiff

READ = """
import sys, time
from pathlib import Path
import numpy as np
from scanqa.model import Window
from scanqa.scans.linear import linear
from scanqa.scans.open import open_scan
from scanqa.scans.overview import overview
start = time.perf_counter()
scan = open_scan(sys.argv[1])
linear(scan)
overview(scan)
seen = time.perf_counter()
rng = np.random.default_rng(0)
for row, col in zip(rng.integers(0, 9500, 300), rng.integers(0, 6600, 300)):
    scan.window(Window(int(row), int(col), 400, 400))
windows = time.perf_counter()
scan.sha256
status = Path("/proc/self/status").read_text()
peak = int(status.split("VmHWM:")[1].split()[0]) / 1024
end = time.perf_counter()
print(f"{seen - start:9.2f} {windows - seen:9.2f} {end - windows:9.2f} {peak:9.0f}")
"""
SEED = 20


def main() -> None:
    rng = np.random.default_rng(SEED)
    page = np.empty((9921, 7016, 3), np.uint8)
    for row in range(0, len(page), 512):
        part = page[row : row + 512]
        part[:] = np.clip(rng.normal(236, 1.5, part.shape), 0, 255)
    deep = page[:, :, :].astype(np.uint16) * 257
    with tempfile.TemporaryDirectory(dir="/var/tmp") as name:
        folder = Path(name)
        save_tiff(folder / "8-bit.tif", page, 600)
        save_tiff(folder / "16-bit.tif", deep, 600)
        save_tiff(folder / "deflate.tif", page, 600, compression="deflate")
        pyvips.Image.new_from_array(page).tiffsave(str(folder / "lzw.tif"), compression="lzw")
        save_png(folder / "8-bit.png", page, 600)
        save_jpeg(folder / "8-bit.jpg", page, 600)
        print(f"A3 600 dpi RGB, noise of 1.5 codes, seed {SEED}; seconds and MiB")
        print(f"{'file':12} {'overview':>9} {'300 win.':>9} {'sha256':>9} {'peak':>9}")
        for path in sorted(folder.iterdir()):
            done = subprocess.run(
                [sys.executable, "-c", READ, path], capture_output=True, text=True, check=True
            )
            print(f"{path.name:12} {done.stdout.rstrip()}")


if __name__ == "__main__":
    main()
