"""A scanner with things on its glass: the real ``scanimage`` and test backend, simulated pixels.

The test backend of sane-utils delivers its own test pictures, whatever "lies on the glass". Here it
does all the rest: it is listed, tells its options, takes the settings, scans, reports progress and
writes the file. A program first on PATH calls it and then exchanges the pixels in that file for
those of a simulated scan of the thing that was laid down last (`Glass.lay`), cut to the area that
was asked for. A picture of another size than the backend's is an error.
"""

import shutil
import stat
import sys
from pathlib import Path

from tests.capture.conftest import configure

SCRIPT = """#!{python} -IS
import re, struct, subprocess, sys
from pathlib import Path

home = Path({home!r})
done = subprocess.run([{real!r}, *sys.argv[1:]])
out = next((a.partition("=")[2] for a in sys.argv if a.startswith("--output-file=")), None)
if done.returncode or out is None:
    sys.exit(done.returncode)
found = (re.fullmatch(r"-([lt])([0-9.]+)|--(resolution|depth)=(\\d+)", a) for a in sys.argv)
given = {{m[1] or m[3]: float(m[2] or m[4]) for m in found if m}}
dpi, depth = int(given["resolution"]), int(given["depth"])
laid = (home / "laid").read_text()
pictures = home / "pictures"
takes = sorted(pictures.glob(f"{{laid}}.*.{{dpi}}.{{depth}}.raw"))
if not takes:
    sys.exit(f"scanimage: no picture of {{laid}} at {{dpi}} dpi, {{depth}} bits")
pixels = takes[0].read_bytes()
if len(takes) > 1:
    takes[0].unlink()

with open(out, "r+b") as file:
    order = {{b"II": "<", b"MM": ">"}}[file.read(2)]
    file.seek(struct.unpack(order + "xxI", file.read(6))[0])
    tags = {{}}
    for _ in range(struct.unpack(order + "H", file.read(2))[0]):
        tag, kind, _, value = struct.unpack(order + "HHI4s", file.read(12))
        tags[tag] = struct.unpack(order + ("Hxx" if kind == 3 else "I"), value)[0]
    width, height, at, size = tags[256], tags[257], tags[273], tags[279]
    pitch = int((pictures / f"{{laid}}.{{dpi}}.width").read_text()) * 3 * depth // 8
    left, top = (round(given[side] * dpi / 25.4) for side in "lt")
    row = width * 3 * depth // 8
    starts = [(top + y) * pitch + left * 3 * depth // 8 for y in range(height)]
    data = b"".join(pixels[start : start + row] for start in starts)
    if len(data) != size or (depth == 16 and order != "<"):
        sys.exit(f"scanimage: a picture of {{len(data)}} bytes in the place of {{size}}")
    file.seek(at)
    file.write(data)
"""


class Glass:
    """Installs the program; `add` pictures of things, then `lay` one of them down."""

    def __init__(self, home: Path, *, bed_mm: int, highest_dpi: int) -> None:
        self.home, self.bin = home, home / "bin"
        self.bin.mkdir(parents=True)
        (home / "pictures").mkdir()
        real = shutil.which("scanimage", path="/usr/bin:/bin:/usr/local/bin")
        if real is None:
            raise RuntimeError("these tests need scanimage: apt-get install sane-utils")
        program = self.bin / "scanimage"
        program.write_text(SCRIPT.format(python=sys.executable, home=str(home), real=real))
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
        self.config = configure(home / "sane", bed_mm=bed_mm, highest_dpi=highest_dpi)

    def add(self, name, pixels, *, dpi):
        """A scan of the whole bed; several of one name are delivered in turn, the last for good."""
        folder, bits = self.home / "pictures", 8 * pixels.itemsize
        number = len(list(folder.glob(f"{name}.*.{dpi}.{bits}.raw")))
        path = folder / f"{name}.{number}.{dpi}.{bits}.raw"
        path.write_bytes(pixels.astype(pixels.dtype.newbyteorder("<")).tobytes())
        (folder / f"{name}.{dpi}.width").write_text(str(pixels.shape[1]))

    def lay(self, name):
        """Put a thing on the glass."""
        (self.home / "laid").write_text(name)
