"""Damaged files of every kind that is read: each is one line or a result, never more.

Run by hand (10,000 files: some minutes)::

    python -m tests.fuzz --files 10000 [--seed N]

Sound small files are made here, then bytes are flipped, cut out, doubled, moved, or replaced by
numbers at the ends of what fits (a byte-level mutator; no coverage guides it). A file that raises
anything but a `ScanqaError`, computes for more than `MOST_S`, hangs for `MOST_WAIT_S` or takes more
than `MOST_MB` is written to the temporary folder and its seed is named.
"""

from __future__ import annotations

import argparse
import io
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image, ImageCms

from scanqa.codec import from_stranger, to_json_line
from scanqa.errors import ScanqaError
from scanqa.findings.uses_file import read_uses
from scanqa.scans.cgats import read_cgats
from scanqa.scans.linear import linear
from scanqa.scans.open import open_scan
from scanqa.scans.overview import overview
from tests.records.builders import measure, qualification

MOST_S, MOST_WAIT_S, MOST_MB = 10, 60, 500  # a busy machine makes wait, not compute
ENDS = (0, 1, 0x7F, 0x80, 0xFF)
Reader = Callable[[Path], object]


def _scan(path: Path) -> None:
    scan = open_scan(path)
    linear(scan)
    overview(scan)


def _record(path: Path) -> None:
    from_stranger(path.read_bytes())


def corpus() -> dict[str, tuple[bytes, Reader]]:
    """Sound files by their name, and what reads each."""
    rng = np.random.default_rng(1)
    grey = rng.integers(100, 250, (120, 130), np.uint8)
    colour = rng.integers(100, 250, (110, 120, 3), np.uint8)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    made: dict[str, tuple[bytes, Reader]] = {
        "grey.tif": (_tiff(grey), _scan),
        "colour.tif": (_tiff(colour, photometric="rgb", iccprofile=profile), _scan),
        "deep.tif": (_tiff(grey.astype(np.uint16) * 257), _scan),
        "big.tif": (_tiff(grey, bigtiff=True), _scan),
        "lzw.tif": (_tiff(colour, photometric="rgb", compression="lzw"), _scan),
        "tiles.tif": (_tiff(grey, tile=(32, 32), compression="deflate"), _scan),
    }
    for kind in ("png", "jpeg"):
        file = io.BytesIO()
        Image.fromarray(colour).save(file, kind, dpi=(150, 150), icc_profile=profile)
        made[f"colour.{kind}"] = (file.getvalue(), _scan)
    record = qualification(measures=[measure()])
    made["record.jsonl"] = (to_json_line(record).encode(), _record)
    root = Path(__file__).parents[1]
    made["uses.toml"] = ((root / "scanqa/findings/uses.toml").read_bytes(), read_uses)
    made["patches.txt"] = (CGATS, read_cgats)
    return made


CGATS = b"""CGATS.17
NUMBER_OF_FIELDS 2
BEGIN_DATA_FORMAT
SAMPLE_ID LAB_L
END_DATA_FORMAT
NUMBER_OF_SETS 3
BEGIN_DATA
1 95.1
2 50.2
3 12.3
END_DATA
"""


def _tiff(pixels, **options) -> bytes:
    file = io.BytesIO()
    tifffile.imwrite(file, pixels, resolution=(150, 150), resolutionunit="inch", **options)
    return file.getvalue()


def mutated(data: bytes, rng: np.random.Generator) -> bytes:
    """The bytes with one to eight changes, mostly near the beginning, where headers are."""
    made = bytearray(data)
    for _ in range(int(rng.integers(1, 9))):
        reach = len(made) if rng.random() < 0.3 else min(len(made), 600)
        at = int(rng.integers(0, max(reach, 1)))
        way = int(rng.integers(0, 7))
        size = int(rng.integers(1, 17))
        if way == 0:
            made[at : at + 1] = bytes([int(rng.integers(0, 256))])
        elif way == 1:
            made[at : at + size] = bytes([int(rng.choice(ENDS))]) * size
        elif way == 2:
            del made[at : at + size]
        elif way == 3:
            made[at:at] = made[at : at + size] * int(rng.integers(1, 40))
        elif way == 4:
            made = made[:at] if rng.random() < 0.2 else made
        elif way == 5:
            made[at : at + 4] = int(rng.choice([0, 1, 2**31 - 1, 2**32 - 1])).to_bytes(4, "little")
        else:
            made[at:at] = rng.bytes(size)
    return bytes(made)


@contextmanager
def _in_time() -> Iterator[None]:
    """Neither more computing nor more waiting than a file may take."""

    def late(number: int, frame: object) -> None:
        raise TimeoutError(f"computes for {MOST_S} s, or hangs for {MOST_WAIT_S} s")

    timers = {
        signal.SIGPROF: (signal.ITIMER_PROF, MOST_S),
        signal.SIGALRM: (signal.ITIMER_REAL, MOST_WAIT_S),
    }
    before = {number: signal.signal(number, late) for number in timers}
    for timer, seconds in timers.values():
        signal.setitimer(timer, seconds)
    try:
        yield
    finally:
        for timer, _ in timers.values():
            signal.setitimer(timer, 0)
        for number, handler in before.items():
            signal.signal(number, handler)


def _highest_mb(*, anew: bool = False) -> float:
    """Most memory so far (Linux); `anew` forgets what came before, of other tests too."""
    if anew:
        Path("/proc/self/clear_refs").write_text("5")  # proc(5): the highest is now the present
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


def tried(name: str, data: bytes, reader: Reader, folder: Path) -> str:
    """What is wrong with how a file is taken; nothing if it is read or refused in one line."""
    path = folder / name
    path.write_bytes(data)
    before = _highest_mb(anew=True)
    try:
        with _in_time():
            reader(path)
    except ScanqaError as error:
        if "\n" in str(error):
            return f"more than one line: {error}"
    except Exception as error:  # what a fuzzer looks for
        return f"{type(error).__name__}: {error}"
    grown = _highest_mb() - before
    return f"{grown:.0f} MB" if grown > MOST_MB else ""


def run(files: int, seed: int, *, until: float = float("inf")) -> tuple[int, list[str]]:
    """How many files were tried up to a moment, and what went wrong."""
    sound = corpus()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        for number in range(files):
            if time.monotonic() > until:
                return number, wrong
            rng = np.random.default_rng([seed, number])
            name = str(rng.choice(list(sound)))
            data, reader = sound[name]
            changed = mutated(data, rng)
            if found := tried(name, changed, reader, Path(folder)):
                kept = Path(tempfile.gettempdir()) / f"fuzz-{seed}-{number}-{name}"
                kept.write_bytes(changed)
                wrong.append(f"{kept}: {found}")
    return files, wrong


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    options = parser.parse_args()
    started = time.monotonic()
    count, wrong = run(options.files, options.seed)
    print("\n".join(wrong))
    took = time.monotonic() - started
    print(f"{count} files, seed {options.seed}, {took:.0f} s: {len(wrong)} wrong")
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
