"""A real SANE device (the ``test`` backend of sane-utils) and a made-up ``scanimage``."""

import pytest

from tests.capture.fake import FakeScanimage

BED_MM = 60


def configure(folder, *, devices=1, bed_mm=BED_MM, highest_dpi=1200, picture="Solid white"):
    """Write a configuration of SANE that knows nothing but the test backend."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "dll.conf").write_text("test\n")
    (folder / "test.conf").write_text(
        f"number_of_devices {devices}\nmode Gray\ndepth 8\n"
        f"resolution_min 1.0\nresolution_max {highest_dpi}.0\nresolution_quant 1.0\n"
        "resolution 50.0\n"
        f'test-picture "{picture}"\n'
        f"geometry_min 0.0\ngeometry_max {bed_mm}.0\ngeometry_quant 0.0\n"
        "tl_x 0.0\ntl_y 0.0\nbr_x 20.0\nbr_y 20.0\n"
    )
    return folder


@pytest.fixture
def sane(tmp_path, monkeypatch):
    """Name of a device of the test backend with a small bed."""
    monkeypatch.setenv("SANE_CONFIG_DIR", str(configure(tmp_path / "sane")))
    return "test:0"


@pytest.fixture
def fake(tmp_path, monkeypatch):
    """A `scanimage` on PATH that does what a test says."""
    made = FakeScanimage(tmp_path / "fake")
    monkeypatch.setenv("PATH", f"{made.bin}:/usr/bin:/bin")
    return made
