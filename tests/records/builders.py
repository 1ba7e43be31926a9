"""Records made by hand: as little as a test needs, the rest filled in."""

from __future__ import annotations

from dataclasses import replace

from scanqa.model import Mark, Measurement, Outcome, Record, ScanFacts, Streak

SCAN = ScanFacts(
    file="a.tif", role="blank", width_px=2480, height_px=3508, bits=8, channels=3,
    dpi=(300.0, 300.0), dpi_source="file", rotation_deg=0, sheet=None, format="tiff", lossy=False,
    light="sRGB assumed", sha256="a",
)  # fmt: skip


def facts(**more):
    """A blank scan at 300 dpi but for what is given."""
    return replace(SCAN, **more)


def measure(name="noise.total", value=1.25, uncertainty=0.1, **more):
    """A sound value but for what is given."""
    if more.get("status", "ok") != "ok":
        more = {"reason": "by the test", "reason_kind": "range", **more}
    return Measurement(name, value, uncertainty, **more)


def qualification(scans="a", *, scanner="heron", version="0.1.0", measures=None, **more):
    """A record; each letter (or item) of `scans` stands for a scan of that hash."""
    if all(isinstance(scan, str) for scan in scans):
        scans = [facts(file=f"{scan}.tif", sha256=scan) for scan in scans]
    filled = {
        "created": "2026-11-25T10:00:00+00:00",
        "streaks": (),
        "glass_marks": (),
        "findings": (),
        "actions": (),
        "outcome": Outcome("not judged"),
        **more,
    }
    given = (measure(),) if measures is None else tuple(measures)
    return Record(
        scanner=scanner, tool_version=version, scans=tuple(scans), measures=given, **filled
    )


def streak(at_mm=71.3, contrast=1.5, *, polarity="dark", axis="travel", visible=True):
    """A line 120 µm wide."""
    return Streak(
        at_mm=at_mm, at_px=at_mm * 300 / 25.4, width_um=120.0, contrast_percent=contrast,
        delta_L=0.4 * contrast, polarity=polarity, channels=("luma",), extent_mm=(0.0, 297.0),
        significance=25 * contrast, visible=visible, scan="a.tif", axis=axis,
    )  # fmt: skip


def mark(x=52.0, y=88.0, contrast=30.0):
    """A dark spot."""
    return Mark((x, y), (0.3, 0.3), contrast, "dark", "spot", "a.tif")
