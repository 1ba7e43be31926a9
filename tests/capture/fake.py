"""A ``scanimage`` of our own, for what the test backend cannot do: hang, tear off, lie.

`FakeScanimage.bin` goes first on PATH. It answers ``-A`` with `options`, records every argument
list it was called with, and scans as `behaviour` says.
"""

import json
import stat
import sys
import time
from pathlib import Path

import numpy as np
from PIL import Image

OPTIONS = """
All options specific to device `fake':
    --mode Lineart|Gray|Color [Gray]
    --depth 8 [8]
    --resolution 100|200|300dpi [100]
    -l 0..50mm [0]
    -t 0..60mm [0]
    -x 0..50mm [50]
    -y 0..60mm [60]
"""

SCRIPT = """#!{python} -IS
import json, os, shutil, signal, subprocess, sys, time
from pathlib import Path

home = Path({home!r})
calls = home / "calls"
with calls.open("a") as file:
    file.write(json.dumps(sys.argv[1:]) + "\\n")
behaviour = (home / "behaviour").read_text()
if "-A" in sys.argv:
    print((home / "options").read_text())
    sys.exit(0)
if "-f" in sys.argv:
    sys.stdout.write((home / "devices").read_text())
    sys.exit(0)
out = next(Path(a.partition("=")[2]) for a in sys.argv if a.startswith("--output-file="))
queue = sorted((home / "queue").iterdir())
data = queue[0].read_bytes()


def serve():
    queue[0].unlink() if len(queue) > 1 else None
    out.write_bytes(data)


def half():
    out.write_bytes(data[: len(data) * 6 // 10])
    sys.stderr.write("Progress: 60.0%\\r")
    sys.stderr.flush()


if behaviour == "serve":
    serve()
elif behaviour == "serve once":
    serve()
    (home / "behaviour").write_text("unplugged")
elif behaviour == "truncated":
    half()
elif behaviour == "nothing":
    pass
elif behaviour == "unplugged":
    half()
    sys.exit("scanimage: sane_read: Error during device I/O")
elif behaviour == "unplugged once":
    (home / "behaviour").write_text("serve")
    sys.exit("scanimage: sane_read: Error during device I/O")
elif behaviour == "unreachable":
    sys.exit("scanimage: open of device fake failed: Invalid argument")
elif behaviour == "crash":
    half()
    os.kill(os.getpid(), signal.SIGSEGV)
elif behaviour == "terminated":
    half()
    os.kill(os.getpid(), signal.SIGTERM)
elif behaviour == "clamped":
    serve()
    sys.stderr.write("scanimage: rounded value of resolution from 300 to 200\\n")
elif behaviour == "hang":
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    child = subprocess.Popen(["sleep", "300"])
    (home / "pids").write_text(f"{{os.getpid()}} {{child.pid}}")
    half()
    time.sleep(300)
elif behaviour == "silent":
    (home / "pids").write_text(str(os.getpid()))
    half()
    time.sleep(300)
else:
    sys.exit("no such behaviour: " + behaviour)
"""


class FakeScanimage:
    """Installs the program and says what it does."""

    def __init__(self, home: Path) -> None:
        self.home, self.bin = home, home / "bin"
        self.bin.mkdir(parents=True)
        (home / "queue").mkdir()
        program = self.bin / "scanimage"
        program.write_text(SCRIPT.format(python=sys.executable, home=str(home)))
        program.chmod(program.stat().st_mode | stat.S_IXUSR)
        self.does("serve")
        self.offers(OPTIONS)
        self.finds("fake\tNoname\tmade up\tflatbed scanner\n")

    def does(self, behaviour: str) -> None:
        (self.home / "behaviour").write_text(behaviour)

    def offers(self, options: str) -> None:
        (self.home / "options").write_text(options)

    def finds(self, devices: str) -> None:
        (self.home / "devices").write_text(devices)

    def queue(self, *pixels, dpi=100) -> None:
        """Pictures that it delivers, in turn; the last one again and again."""
        for picture in pixels:
            number = len(list((self.home / "queue").iterdir()))
            path = self.home / "queue" / f"{number:03d}.tif"
            Image.fromarray(picture).save(path, dpi=(dpi, dpi))

    @property
    def calls(self) -> list[list[str]]:
        path = self.home / "calls"
        return [json.loads(line) for line in path.read_text().splitlines()] if path.exists() else []

    def pids_known(self) -> bool:
        path = self.home / "pids"
        return path.exists() and path.stat().st_size > 0

    @property
    def pids(self) -> list[int]:
        return [int(pid) for pid in (self.home / "pids").read_text().split()]


def paper(seed, *, dpi=100, size_mm=(50, 60), level=222.0, texture=2.0, noise=0.3, shift_px=(0, 0)):
    """White paper with a texture of its own; `shift_px` moves the texture, not the noise."""
    width, height = (round(side * dpi / 25.4) for side in size_mm)
    grain = np.random.default_rng(1).normal(0, texture, (height, width))
    grain = np.roll(grain, shift_px, axis=(0, 1))[..., None]
    grey = level + grain + np.random.default_rng(seed).normal(0, noise, (height, width, 3))
    return np.clip(grey, 0, 255).round().astype(np.uint8)


def alive(pid):
    """Whether a process is running (one that ended and was not reaped is not)."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(") ")[2][0]
    except (FileNotFoundError, ProcessLookupError):
        return False
    return state != "Z"


def all_gone(pids, within_s=30.0):
    """Whether no process is running any more, at the latest after some seconds."""
    until = time.monotonic() + within_s
    while any(alive(pid) for pid in pids) and time.monotonic() < until:
        time.sleep(0.02)
    return not any(alive(pid) for pid in pids)
