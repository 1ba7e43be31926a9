"""Made-up dpi and traces of processing.

Software may treat each scan in its own way, so that every one is looked at, whatever its dpi.
"""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs.sign import Looked, graded, sign
from scanqa.findings.statistic import figure, known, members, quoted
from scanqa.model import DIRECTIONS, ScanFacts, Seen
from scanqa.summary import Summary, value_of

NATIVE = 0.95, 0.8
HALO = 2.0, 5.0  # %
STRONG_HALO = 6.0  # %: the usual kernels of interpolation overshoot by less
PEAK = 1.1  # an unsharpened response never exceeds 1
STRETCH = 0.05
GRAIN_KEPT = 0.6, 1.4
JPEG = 92.0, 75.0
CROP_MM = 1.0
CLIPPED = 1.0  # % of pixels
GRAIN = "processing.grain_kept"


def claim(measured: Sequence[Summary]) -> Looked:
    """Made-up dpi."""
    all_of_them = members(known(measured, "claim.native_fraction"))
    traces = [m for m in all_of_them if m.status != "ok" and value_of(m) < NATIVE[0]]
    found = [m for m in all_of_them if m not in traces]
    made_up: list[Seen] = []
    for direction in DIRECTIONS:
        of_direction = [m for m in found if m.direction == direction and value_of(m) < NATIVE[0]]
        if of_direction:
            worst = min(of_direction, key=value_of)
            made_up += sign(
                "invented",
                "fault" if value_of(worst) < NATIVE[1] else "warning",
                "claim.native_fraction",
                "claim.factor",
                numbers={"fraction": worst.value},
                direction=direction,
                scan=worst.scan,
                quoted=quoted([worst]),
            )[1]
    if found:
        yield "invented", tuple(made_up)
    if traces:  # that there is none says little: compression hides it
        yield sign(
            "resampled",
            "warning",
            "claim.native_fraction",
            "claim.factor",
            numbers={},
            scan=traces[0].scan,
            quoted=quoted(traces[:1]),
        )


def processing(measured: Sequence[Summary], scans: Sequence[ScanFacts]) -> Looked:
    """Traces of what the software does."""
    yield from _sharpened(measured)
    yield from _stretched(measured)
    yield from _grain(measured)
    yield from _compressed(measured, {scan.file for scan in scans if scan.lossy})
    crops = [m for m in members(known(measured, "processing.crop")) if m.status == "ok"]
    if crops:
        worst = max(crops, key=value_of)
        yield sign(
            "cropped",
            "warning" if value_of(worst) > CROP_MM else None,
            "processing.crop",
            numbers={"mm": worst.value},
            quoted=quoted([worst]),
        )
    clipped = figure(measured, "tone.clipped", "highest")
    if clipped:
        yield sign(
            "clipped",
            "warning" if clipped.value > CLIPPED else None,
            "tone.clipped",
            numbers={"percent": clipped.value},
        )


def _sharpened(measured: Sequence[Summary]) -> Looked:
    halo = figure(measured, "processing.halo", "highest")
    peak = figure(measured, "sharpness.peak", "median of the worse direction, upwards")
    if halo is None and peak is None:
        return
    severity = graded(halo.value, HALO) if halo else None
    haloed, boosted = severity is not None, peak is not None and peak.value > PEAK
    if boosted:
        severity = "warning"
    yield sign(
        "sharpened",
        severity,
        "processing.halo",
        "sharpness.peak",
        numbers={
            "halo_percent": halo.value if halo and haloed else None,
            "peak": peak.value if peak and boosted else None,
        },
    )
    strong = boosted or (halo is not None and halo.value >= STRONG_HALO)
    yield "strong-halo", severity is not None and strong


def _stretched(measured: Sequence[Summary]) -> Looked:
    stretches = members(known(measured, "processing.level_stretch"))
    if stretches:
        bent = [
            m for m in stretches if abs(value_of(m) - 1) > max(STRETCH, 3 * (m.uncertainty or 0.0))
        ]
        yield sign(
            "stretched",
            "warning" if bent else None,
            "processing.level_stretch",
            numbers={"stretch": bent[0].value if bent else None},
            scan=bent[0].scan if bent else "",
            quoted=quoted(bent[:1]),
        )


def _grain(measured: Sequence[Summary]) -> Looked:
    """Grain that was smoothed; whether white paper has none at all: quiet scanner, or smoothing."""
    kept = members(known(measured, GRAIN))
    sure = [m for m in kept if m.status == "ok"]  # of a bound the object's texture may be the cause
    if sure:
        odd = [m for m in sure if not GRAIN_KEPT[0] <= value_of(m) <= GRAIN_KEPT[1]]
        yield sign(
            "smoothed",
            "warning" if odd else None,
            GRAIN,
            numbers={"kept": odd[0].value if odd else None},
            scan=odd[0].scan if odd else "",
        )
    looked = [m for s in measured if s.key.name == GRAIN for m in s.members]
    if looked and not kept:  # grain that was measured is no second evidence
        yield "no-grain", all(m.value is None and m.reason_kind == "rounding" for m in looked)


def _compressed(measured: Sequence[Summary], lossy: set[str]) -> Looked:
    qualities = members(known(measured, "processing.jpeg_quality"))
    if not qualities:
        return
    worst = min(qualities, key=value_of)
    hidden = worst.scan not in lossy
    grave = hidden or value_of(worst) < JPEG[1]
    yield sign(
        "compressed",
        ("warning" if grave else "note") if value_of(worst) < JPEG[0] else None,
        "processing.jpeg_quality",
        numbers={"quality": worst.value},
        terms={"file": "lossless" if hidden else "lossy"},
        scan=worst.scan,
        quoted=quoted([worst]),
    )
