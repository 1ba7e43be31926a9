"""Two simulated scanners with planted faults, for trying scanqa without a scanner.

The (invented) Tarn Valley Orchard Society digitises nursery catalogues with *heron*, an old
book-edge scanner with a cold-cathode lamp that wraps round the front of its carriage, and *wren*,
a newer one with a contact sensor and a flat bar of LEDs. What was planted is written beside the
scans, in ``truth.json``, with the seeds.

Heron has been checked each month for two years (`heron_in`): its lamp dims by 2 % a month from
month 8 on behind the white calibration, and a streak came in month 5 and went with a cleaning.
"""

from __future__ import annotations

import gzip
import json
import multiprocessing
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import asdict, replace
from datetime import date, timedelta
from importlib import resources
from pathlib import Path
from typing import Any

import numpy as np

from scanqa.catalogue import RAMP_HEIGHTS_MM
from scanqa.codec import from_json
from scanqa.model import Identity, Record
from scanqa.scans.one_thread import one_thread_each
from scanqa.scans.save import save_tiff
from scanqa.sheets import sheet
from scanqa.simulate import one_thread, scan
from scanqa.simulate.device_faults import Dust, Falloff, Shadow, Streak
from scanqa.simulate.scanner import Lamp, Optics, Scanner, Segments, Sensor
from scanqa.simulate.scenes import (
    BLACK_CARD,
    BackPrintScene,
    BlankScene,
    BookScene,
    DarkScene,
    EdgeCardScene,
    Paper,
    Printer,
    RampScene,
    Scene,
    SheetScene,
    StripsScene,
)
from scanqa.simulate.truth import Truth

Progress = Callable[[int, int, str], None]  # steps done, steps in all, what is being done

DPI = 300
FEW, FEW_DPI = ("blank-1", "blank-2", "bed-sheet"), 150
SEED = 1871
WORKERS = 2

HERON = Scanner(
    name="heron",
    dead_margin_mm={"left": 2.4, "right": 0.3, "top": 0.4, "bottom": 0.8},
    shadows={"left": Shadow(3.0, strength=0.35)},
    falloff={"right": Falloff(0.02, 40.0)},
    # The carriage sits a little low at its far right: soft towards the bottom-right corner.
    optics=Optics(34.0, 40.0, tilt=(0.5, 0.5), tilt_um=70.0, focus_um_per_mm=12.0),
    lamp=Lamp(level=0.7, half_height_mm=9.0),
    sensor=Sensor(full_well_e=30_000, read_noise_e=20, column_pattern=0.0004, red_px=(0.3, 0.0)),
    streaks=(
        Streak(71.3, 110.0, -0.015, cause="dirt on the moving optics"),
        Streak(148.6, 130.0, 0.006, cause="dirt on the white calibration strip"),
    ),
    marks=(Dust((52.0, 88.0), 420.0, -0.3), Dust((160.5, 214.0), 300.0, -0.22)),
    scale_error=(0.0004, -0.0011),
    seed=41,
)

WREN = Scanner(
    name="wren",
    dead_margin_mm={"left": 0.7},
    falloff={"right": Falloff(0.035, 30.0)},
    optics=Optics(22.0, 26.0, focus_um_per_mm=130.0),
    lamp=Lamp(vignetting=0.05, half_height_mm=2.6),
    sensor=Sensor(
        full_well_e=180_000,
        read_noise_e=30,
        calibration_lines=512,
        column_pattern=0.0003,
        segments=Segments(gain_rms=0.0004, notch=0.0008),
    ),
    black_light=0.0006,
    seed=42,
)

SCANNERS = {scanner.name: scanner for scanner in (HERON, WREN)}
DEMO_LIGHT = {"heron": "cold-cathode lamp (simulated)", "wren": "LED (simulated)"}
DEMO_PRINT = "the Society's own"  # one print of the sheets served both scanners
PRINTER = Printer(scale_x=1.0006, scale_y=0.9992, edge_roughness_um=6.0)

YEARS_FILE = "demo_years.jsonl.gz"
MONTHS = 24  # of checks before the full set of today
DIMS_FROM, DIMS_BY = 8, 0.02
DIRTY_IN = 5
CLEANED = "sensor window cleaned"
DIRT = Streak(118.2, 120.0, -0.012, cause="dirt on the moving optics")
NEW_LAMP = HERON.lamp.level / (1 - DIMS_BY) ** (MONTHS - DIMS_FROM + 1)


def heron_in(month: int, *, glass_mm: tuple[float, float] = HERON.glass_mm) -> Scanner:
    """Heron as it was in a month of its two years, 0 to `MONTHS` − 1; today is `HERON`."""
    dimmed = max(0, month - DIMS_FROM + 1)
    return replace(
        HERON,
        glass_mm=glass_mm,
        lamp=replace(HERON.lamp, level=NEW_LAMP * (1 - DIMS_BY) ** dimmed),
        streaks=HERON.streaks[1:] + ((DIRT,) if month == DIRTY_IN else ()),
        marks=HERON.marks[:1],
    )


def write_check(
    folder: Path, scanner: Scanner, *, seed: Sequence[int], dpi: float = DPI
) -> list[Path]:
    """Write two blank scans of a scanner, on a paper of their own that moves between them."""
    rng = np.random.default_rng(seed)
    paper = Paper(seed=int(rng.integers(1, 10_000)))
    moved = tuple(rng.uniform(2.0, 6.0, 2) * rng.choice([-1, 1], 2))
    scenes = (
        BlankScene(paper),
        BlankScene(paper, moved_mm=(moved[0], moved[1]), turn_deg=float(rng.uniform(-0.5, 0.5))),
    )
    files = []
    for number, scene in enumerate(scenes, 1):
        simulated = scan(scene, scanner, dpi=dpi, rng=rng)
        files.append(folder / f"blank-{number}.tif")
        save_tiff(files[-1], simulated.pixels, simulated.dpi)
    return files


def check_seed(month: int) -> list[int]:
    """Seed of the scans of a monthly check."""
    return [SEED, MONTHS, month]


def month_day(month: int, day: int, *, today: date) -> str:
    """A day of a month of heron's two years, counted back from today; ISO 8601."""
    count = today.year * 12 + today.month - 1 - MONTHS + month
    return date(count // 12, count % 12 + 1, day).isoformat()


def demo_units(*, today: date) -> tuple[Identity, Identity]:
    """What the Society noted of its scanners: heron is theirs; wren may still go back."""
    heron = Identity(
        "heron", "Larkfield", "L-12", "0417", site="reading room", sensor="CCD",
        lamp="cold cathode", seller="R. Osgood",
        acquired=month_day(0, 1, today=today),
    )  # fmt: skip
    wren = Identity(
        "wren", "Sandmere", "Folio 4", "SM-2290", site="reading room", sensor="contact sensor",
        lamp="LED", seller="M. Ashby", acquired=(today - timedelta(days=5)).isoformat(),
        return_until=(today + timedelta(days=9)).isoformat(),
    )  # fmt: skip
    return heron, wren


def checked_months(*, today: date) -> list[Record]:
    """The monthly qualifications as they come with scanqa, dated back from today.

    They were simulated and measured by ``python -m tests.renew_demo_years``.
    """
    packed = (resources.files("scanqa") / YEARS_FILE).read_bytes()
    months = map(from_json, gzip.decompress(packed).splitlines())
    return [
        replace(record, conditions={**record.conditions, "date": month_day(month, 5, today=today)})
        for month, record in enumerate(months)
    ]


def scenes() -> dict[str, Scene]:
    """What was laid on the glass, by the name of the scan."""
    blank = Paper(seed=5)
    strips = sheet("edge-strip-a4")
    return {
        "blank-1": BlankScene(blank),
        "blank-2": BlankScene(blank, moved_mm=(3.2, -4.1), turn_deg=0.4),
        "dark": DarkScene(),
        "bed-sheet": SheetScene(
            sheet("bed-sheet-a4"), (3.0, 1.4), 0.35, printer=PRINTER, windows_cut=True
        ),
        "edge-strips": StripsScene(
            strips, {piece.name: _side(piece.name) for piece in strips.pieces}, printer=PRINTER
        ),
        "open-book": BookScene("left", lift_mm=2.2, length_mm=15.0),
        "gutter-ramp": RampScene(sheet("gutter-ramp-a4"), "left", printer=PRINTER),
        "back-print-lid": BackPrintScene(sheet("back-print-a4"), (3.0, 1.4), 0.35, printer=PRINTER),
        "back-print-card": BackPrintScene(
            sheet("back-print-a4"), (3.0, 1.4), 0.35, backing=BLACK_CARD, printer=PRINTER
        ),
        "edge-card": EdgeCardScene(),
    }


def _side(strip: str) -> Any:
    return strip.removeprefix("strip-")


def write_demo(folder: Path, *, progress: Progress) -> dict[str, list[Path]]:
    """Write a full set of scans for each of the two scanners.

    Parameters
    ----------
    folder : Path
        One folder for each scanner is made in it; files of the same names are replaced.
    progress : callable
        Called with steps done, steps in all and words.

    Returns
    -------
    dict of str to list of Path
        The scans of each scanner. ``truth.json`` beside them is not among them.
    """
    jobs = [(name, kind) for kind in scenes() for name in SCANNERS]
    facts: dict[str, dict[str, Any]] = {name: {} for name in SCANNERS}
    for name in SCANNERS:
        (folder / name).mkdir(parents=True, exist_ok=True)
    progress(0, len(jobs), "simulating scans")
    spawn = multiprocessing.get_context("spawn")
    with one_thread_each(), ProcessPoolExecutor(WORKERS, spawn, one_thread) as pool:
        running = {pool.submit(_write, folder, *job): job for job in jobs}
        for done, future in enumerate(as_completed(running), start=1):
            name, kind = running[future]
            facts[name][kind] = future.result()
            progress(done, len(jobs), f"simulated {name}/{kind}.tif")
    for name, scanner in SCANNERS.items():
        truth = {
            "seed": SEED,
            "dpi": DPI,
            "scanner": _plain(asdict(scanner)),
            "printer": asdict(PRINTER),
            "scans": {kind: facts[name][kind] for kind in scenes()},
        }
        text = json.dumps(truth, indent=2, allow_nan=False)
        (folder / name / "truth.json").write_text(text + "\n", encoding="utf-8")
    return {name: [folder / name / f"{kind}.tif" for kind in scenes()] for name in SCANNERS}


def write_few(folder: Path) -> list[Path]:
    """Two blanks and the bed sheet of heron at `FEW_DPI`, in this process: a demo of seconds."""
    (folder / "heron").mkdir(parents=True, exist_ok=True)
    files, laid = [], scenes()
    for number, kind in enumerate(FEW):
        made = scan(laid[kind], HERON, dpi=FEW_DPI, rng=np.random.default_rng([SEED, 99, number]))
        files.append(folder / "heron" / f"{kind}.tif")
        save_tiff(files[-1], made.pixels, made.dpi)
    return files


def _write(folder: Path, name: str, kind: str) -> dict[str, Any]:
    """Simulate one scan, save it and give its truth in plain words and numbers."""
    seed = [SEED, list(SCANNERS).index(name), list(scenes()).index(kind)]
    scene = scenes()[kind]
    simulated = scan(scene, SCANNERS[name], dpi=DPI, rng=np.random.default_rng(seed))
    save_tiff(folder / name / f"{kind}.tif", simulated.pixels, simulated.dpi)
    return {"seed": seed, **_facts(scene, simulated.truth)}


def _facts(scene: Scene, truth: Truth) -> dict[str, Any]:
    """What a report should show for a scan."""
    facts: dict[str, Any] = {
        "skew_deg": truth.skew_deg,
        "dpi": truth.true_dpi,
        "paper_light": truth.paper_light,
    }
    if isinstance(scene, BackPrintScene):
        facts["show_through_percent"] = scene.show_through_percent()
    elif isinstance(scene, RampScene):
        heights = np.array(RAMP_HEIGHTS_MM, float)
        lit = truth.scanner.lamp.lifted(heights)
        facts["light_at_height_percent"] = {
            f"{h:.0f} mm": 100 * float(v) for h, v in zip(heights, lit, strict=True)
        }
    elif truth.lift is None:
        facts["shadow_mm"] = {
            side: truth.depth_mm(side) for side in ("left", "right", "top", "bottom")
        }
    else:
        side = truth.lift.side
        at = np.array([0.0, 2.0, 5.0, 10.0, 20.0])
        darker = truth.delta_L(side, at)
        facts["gutter_delta_L"] = {f"{d:.0f} mm": float(v) for d, v in zip(at, darker, strict=True)}
        facts["gutter_reach_mm"] = {f"{d} L*": truth.depth_mm(side, d) for d in (2, 5, 10)}
    return facts


def _plain(value: Any) -> Any:
    """Dataclasses as dictionaries hold tuples and mappings; JSON wants lists and dicts."""
    if isinstance(value, Mapping):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner) for inner in value]
    return value
