"""Made-up dpi and traces of processing."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs.sign import ALONG, DIRECTIONS, Seen, Sign, evidence, graded, value_of
from scanqa.findings.statistic import summarise
from scanqa.model import Results, ScanFacts, Severity

NATIVE = 0.95, 0.8
HALO = 2.0, 5.0  # %
STRONG_HALO = 6.0  # %: the usual kernels of interpolation overshoot by less
PEAK = 1.1  # an unsharpened response never exceeds 1
STRETCH = 0.05
GRAIN_KEPT = 0.6, 1.4
JPEG = 92.0, 75.0
CROP_MM = 1.0
CLIPPED = 1.0  # % of pixels


def claim(results: Results) -> Seen:
    """Made-up dpi."""
    found = results.named("claim.native_fraction")
    made_up = []
    for direction in DIRECTIONS:
        worst = min(
            (m for m in found if m.direction == direction and value_of(m) < NATIVE[0]),
            key=value_of,
            default=None,
        )
        if worst is not None:
            made_up.append(
                Sign(
                    f"only {100 * value_of(worst):.0f} % of the dpi is real ({ALONG[direction]})",
                    f"{worst.scan}: {worst.reason}",
                    "fault" if value_of(worst) < NATIVE[1] else "warning",
                    ("claim.native_fraction", "claim.factor"),
                )
            )
    if found:
        yield "invented", tuple(made_up)


def processing(results: Results, scans: Sequence[ScanFacts]) -> Seen:
    """Traces of what the software does."""
    yield from _sharpened(results)
    stretches = results.named("processing.level_stretch")
    if stretches:
        bent = [
            m for m in stretches if abs(value_of(m) - 1) > max(STRETCH, 3 * (m.uncertainty or 0.0))
        ]
        sign = Sign(
            "levels were stretched after digitising",
            bent[0].reason if bent else "",
            "warning",
            ("processing.level_stretch",),
        )
        yield "stretched", (sign,) if bent else ()
    grains = results.named("processing.grain_kept")
    if grains:
        odd = [m for m in grains if not GRAIN_KEPT[0] <= value_of(m) <= GRAIN_KEPT[1]]
        sign = Sign(
            "the finest grain was smoothed away",
            f"grain kept {value_of(odd[0]):.2f}, 1 without smoothing" if odd else "",
            "warning",
            ("processing.grain_kept",),
        )
        yield "smoothed", (sign,) if odd else ()
    yield from _no_grain(results)
    lossy = {scan.file for scan in scans if scan.lossy}
    qualities = results.named("processing.jpeg_quality")
    if qualities:
        worst = min(qualities, key=value_of)
        hidden = worst.scan not in lossy
        bad = value_of(worst) < JPEG[0]
        where = "though the file is lossless" if hidden else "by the file's own compression"
        grave: Severity = "warning" if hidden or value_of(worst) < JPEG[1] else "note"
        sign = Sign(
            f"traces of lossy compression of quality {value_of(worst):.0f}, {where}",
            worst.reason,
            grave,
            ("processing.jpeg_quality",),
        )
        yield "compressed", (sign,) if bad else ()
    crops = results.named("processing.crop")
    if crops:
        worst = max(crops, key=value_of)
        sign = Sign(
            f"scans of the whole bed differ in size by {value_of(worst):.0f} mm",
            worst.reason,
            "warning",
            ("processing.crop",),
        )
        yield "cropped", (sign,) if value_of(worst) > CROP_MM else ()
    clipped = summarise(results, "tone.clipped", "highest")
    if clipped:
        sign = Sign(
            f"{clipped.value:.1f} % of pixels sit at the top of the scale",
            "in the worst of the scans; shading and noise are hidden there",
            "warning",
            ("tone.clipped",),
        )
        yield "clipped", (sign,) if clipped.value > CLIPPED else ()


def _no_grain(results: Results) -> Seen:
    """Whether white paper has no grain at all: a very quiet scanner, or smoothing."""
    grains = [m for m in results.measurements if m.name == "processing.grain_kept"]
    gone = [m for m in grains if m.value is None and "below the rounding" in m.reason]
    if grains:
        yield "no-grain", evidence(len(gone) == len(grains))


def _sharpened(results: Results) -> Seen:
    halo = summarise(results, "processing.halo", "highest")
    peak = summarise(results, "sharpness.peak", "median of the worse direction, upwards")
    if halo is None and peak is None:
        return
    severity = graded(halo.value, HALO) if halo else None
    reasons = []
    if halo and severity:
        reasons.append(f"halo of {halo.value:.1f} % beside edges, which no lens makes")
    if peak and peak.value > PEAK:
        severity = "warning"
        reasons.append(f"contrast is boosted to {peak.value:.2f} at some detail sizes")
    sign = Sign(
        "the software sharpens",
        "; ".join(reasons),
        severity,
        ("processing.halo", "sharpness.peak"),
    )
    yield "sharpened", (sign,) if severity else ()
    strong = (halo is not None and halo.value >= STRONG_HALO) or (peak and peak.value > PEAK)
    yield "strong-halo", evidence(bool(severity and strong))
