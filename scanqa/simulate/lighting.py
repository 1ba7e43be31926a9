"""How much light falls on each sample: fall-off, shadows, streaks, bands, flicker, pattern."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from scanqa.model import COLOURS, MM_PER_INCH, Floats
from scanqa.simulate.laid import Laid
from scanqa.simulate.scanner import Scanner

Light = NDArray[np.float32]


def _distances(size: int, dpi: float) -> Floats:
    """Image mm of the pixel centres of a row or column from its beginning."""
    return np.asarray((np.arange(size) + 0.5) * MM_PER_INCH / dpi)


def vignette(scanner: Scanner, width: int) -> Floats:
    """Share of light that the lens loses along the sensor line, before calibration."""
    place = 2 * (np.arange(width) + 0.5) / width - 1
    return np.asarray(scanner.lamp.vignetting * place**2)


def light_across(laid: Laid, scanner: Scanner, dpi: tuple[float, float]) -> Light:
    """Factor of each column, (width, 3): sides, page lift, dark streaks of full length."""
    width, _ = scanner.size_px(dpi)
    mm = _distances(width, dpi[0])
    light = scanner.light_from("left", mm) * scanner.light_from("right", mm[::-1])
    if laid.lift is not None and laid.lift.side in ("left", "right"):
        x = np.arange(width, dtype=np.float64) + 0.5
        light = light * scanner.lamp.lifted(page_heights(laid, scanner, dpi, x, np.zeros(1))[0])
    columns = np.repeat(light[:, np.newaxis], 3, axis=1)
    for streak in scanner.streaks:
        if streak.contrast < 0 and streak.extent_mm is None:
            for channel in streak.channels:
                columns[:, COLOURS.index(channel)] *= 1 + streak.profile(width, dpi[0])
    return columns.astype(np.float32)


def light_along(
    laid: Laid, scanner: Scanner, dpi: tuple[float, float], rng: np.random.Generator
) -> Light:
    """Factor of each row: sides, page lift, banding, flicker, warm-up."""
    _, height = scanner.size_px(dpi)
    mm = _distances(height, dpi[1])
    light = scanner.light_from("top", mm) * scanner.light_from("bottom", mm[::-1])
    if laid.lift is not None and laid.lift.side in ("top", "bottom"):
        y = np.arange(height, dtype=np.float64) + 0.5
        light = light * scanner.lamp.lifted(page_heights(laid, scanner, dpi, np.zeros(1), y)[:, 0])
    if scanner.banding is not None:
        band = scanner.banding
        light = light * (
            1 + band.amplitude * np.sin(2 * math.pi * mm / band.period_mm + band.phase)
        )
    if scanner.flicker is not None:
        time = np.arange(height, dtype=np.float64) * scanner.line_time_s
        light = np.asarray(light * scanner.flicker.light(time, rng))
    lamp = scanner.lamp
    if lamp.warm_up:
        start = lamp.on_for_s if lamp.calibrated_at_s is None else lamp.calibrated_at_s
        time = lamp.on_for_s + np.arange(height, dtype=np.float64) * scanner.line_time_s
        light = light * lamp.warmth(time) / lamp.warmth(start)
    return light.astype(np.float32)


def darken_partly(scanner: Scanner, dpi: tuple[float, float], row: int, light: Light) -> None:
    """Streaks that begin or end within the image, in place."""
    mm = (row + np.arange(len(light)) + 0.5) * MM_PER_INCH / dpi[1]
    for streak in scanner.streaks:
        if streak.extent_mm is None:
            continue
        rows = (mm >= streak.extent_mm[0]) & (mm <= streak.extent_mm[1])
        if rows.any():
            factor = (1 + streak.profile(light.shape[1], dpi[0])).astype(np.float32)
            for channel in streak.channels:
                light[rows, :, COLOURS.index(channel)] *= factor


def column_gain(scanner: Scanner, dpi: tuple[float, float], rng: np.random.Generator) -> Light:
    """Gain of each column, (width, 3): fixed pattern, chips, calibration noise, bright streaks."""
    width, _ = scanner.size_px(dpi)
    sensor = scanner.sensor
    fixed = np.random.default_rng([scanner.seed, 11])
    gain = 1 + sensor.column_pattern * fixed.standard_normal((width, 3))
    if sensor.segments is not None:
        chip = np.floor(_distances(width, dpi[0]) / sensor.segments.pitch_mm).astype(np.int64)
        level = sensor.segments.gain_rms * fixed.standard_normal((int(chip[-1]) + 1, 3))
        gain *= 1 + level[chip]
        gain[1:][np.diff(chip) > 0] *= 1 - sensor.segments.notch
    if math.isfinite(sensor.calibration_lines):
        share = scanner.lamp.level * (1 - vignette(scanner, width))
        one_line = (
            1 / (sensor.full_well_e * share)
            + (sensor.read_noise_e / (sensor.full_well_e * share)) ** 2
        )
        spread = np.sqrt(one_line / sensor.calibration_lines)[:, np.newaxis]
        gain *= 1 + spread * rng.standard_normal((width, 3))
    for streak in scanner.streaks:
        if streak.contrast > 0 and streak.extent_mm is None:
            for channel in streak.channels:
                gain[:, COLOURS.index(channel)] *= 1 + streak.profile(width, dpi[0])
    return np.asarray(gain, np.float32)


def page_heights(
    laid: Laid, scanner: Scanner, dpi: tuple[float, float], x_px: Floats, y_px: Floats
) -> Floats:
    """Height of the page, (rows, columns), at pixel borders counted from the image's corner."""
    assert laid.lift is not None
    width, height = scanner.size_px(dpi)
    side = laid.lift.side
    inwards = {
        "left": x_px / dpi[0],
        "right": (width - x_px) / dpi[0],
        "top": y_px / dpi[1],
        "bottom": (height - y_px) / dpi[1],
    }[side]
    rise = laid.lift.height_mm(inwards * MM_PER_INCH + scanner.margin_mm(side))
    if side in ("left", "right"):
        return np.broadcast_to(rise, (len(y_px), len(x_px)))
    return np.broadcast_to(rise[:, np.newaxis], (len(y_px), len(x_px)))
