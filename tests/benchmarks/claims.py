"""How often an interpolation is found, and how often one is imagined.

Run by hand: python -m tests.benchmarks.claims [PAGES [SEED]].

Native pages: 200, lenses of 0.3 to 3 px, grain of 0.3 to 4 codes, half of them with a halftone,
half of them through JPEG at qualities 75 to 95; two directions each. Enlarged pages: factors 1.2
to 4, four kernels by Pillow and OpenCV, plain and through JPEG 90, from crisp and soft lenses.
"""

import io
import sys

import cv2
import numpy as np
from PIL import Image

from scanqa.measures import claim
from scanqa.model import Told
from tests.measures.printed_page import page, placed

FACTORS = (1.2, 1.37, 1.5, 2.0, 2.4, 3.0, 4.0)
KERNELS = {
    "nearest": (None, cv2.INTER_NEAREST),
    "linear": (Image.Resampling.BILINEAR, cv2.INTER_LINEAR),
    "cubic": (Image.Resampling.BICUBIC, cv2.INTER_CUBIC),
    "Lanczos": (Image.Resampling.LANCZOS, cv2.INTER_LANCZOS4),
}


def through_jpeg(pixels, quality):
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=quality)
    return np.asarray(Image.open(buffer))


def false_alarms(pages, seed):
    rng = np.random.default_rng(seed)
    alarms, unmeasured = 0, 0
    for _ in range(pages):
        blur, noise = rng.uniform(0.3, 3), 10 ** rng.uniform(-0.5, 0.6)
        screen = rng.uniform(3, 10) if rng.random() < 0.5 else None
        pixels = page(rng, 1800, 1800, blur_px=blur, noise=noise, screen_px=screen)
        quality = int(rng.integers(75, 96)) if rng.random() < 0.5 else None
        if quality:
            pixels = through_jpeg(pixels, quality)
        for found in claim.measure([placed(pixels)], Told()).measurements[::2]:
            unmeasured += found.value is None
            if found.value is not None and found.value != 1:
                alarms += 1
                print(f"  alarm: blur {blur:.2f} noise {noise:.2f} screen {screen} JPEG {quality}")
                print(f"  {found.direction} {found.value:.3f} {found.reason}")
    print(
        f"native: {pages} pages, {2 * pages} directions: {alarms} alarms, {unmeasured} unmeasured"
    )


def found_out(blur, noise, seed):
    rng = np.random.default_rng(seed)
    native = page(rng, 1536, 1536, blur_px=blur, noise=noise)
    for quality in (None, 90):
        for kernel, (pillow, opencv) in KERNELS.items():
            marks = []
            for factor in FACTORS:
                size = (round(1536 * factor), round(1536 * factor))
                images = [cv2.resize(native, size, interpolation=opencv)]
                if pillow is not None:
                    images.append(np.asarray(Image.fromarray(native).resize(size, pillow)))
                good = named = of = 0
                for image in images:
                    cut = image[:1800, :1800]
                    cut = through_jpeg(cut, quality) if quality else cut
                    for found in claim.measure([placed(cut)], Told()).measurements[::2]:
                        of += 1
                        right = found.value is not None and abs(found.value / factor - 1) < 0.03
                        good += right
                        named += right and kernel in found.reason
                marks.append(f"{factor:g}: {good}/{of} {named}/{of}")
            print(f"blur {blur} noise {noise} JPEG {quality} {kernel:8}", "  ".join(marks))


def main():
    pages, seed = (int(word) for word in [*sys.argv[1:], *("200", "7")[len(sys.argv) - 1 :]])
    print(f"seed {seed}; factor within 3 % and kernel named, of directions measured")
    false_alarms(pages, seed)
    for blur, noise in ((0.4, 1.0), (0.8, 1.0), (1.2, 1.0)):
        found_out(blur, noise, seed)


if __name__ == "__main__":
    main()
