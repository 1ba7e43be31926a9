"""What is written is what other readers find; a failed write leaves nothing behind."""

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image, ImageCms

from scanqa.errors import BadOption
from scanqa.scans.open import open_scan
from scanqa.scans.save import save_jpeg, save_png, save_tiff

ICC = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def noise(channels, dtype):
    top = np.iinfo(dtype).max
    shape = (120, 140, channels)
    return np.random.default_rng(1).integers(0, top, shape, dtype, endpoint=True)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("compression", ["none", "deflate"])
def test_tiff_for_other_readers(tmp_path, channels, dtype, compression):
    pixels, path = noise(channels, dtype), tmp_path / "a.tif"
    save_tiff(path, pixels, (600, 599.5), compression=compression, icc=ICC)
    with tifffile.TiffFile(path) as tiff:
        page = tiff.pages[0]
        np.testing.assert_array_equal(page.asarray(), pixels.squeeze())
        assert page.get_resolution("inch") == (600, 599.5)
        assert page.tags[34675].value == ICC
    if dtype == np.uint8:  # Pillow reads 16-bit RGB as 8
        np.testing.assert_array_equal(np.asarray(Image.open(path)), pixels.squeeze())
    ours = open_scan(path)
    assert ours.dpi == (600, 599.5)
    assert ours.icc == ICC


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("channels", [1, 3])
def test_png_for_other_readers(tmp_path, channels, dtype):
    pixels, path = noise(channels, dtype), tmp_path / "a.png"
    save_png(path, pixels, 300)
    np.testing.assert_array_equal(imagecodecs.png_decode(path.read_bytes()), pixels.squeeze())
    with Image.open(path) as image:
        assert image.info["dpi"] == pytest.approx((300, 300), abs=0.01)
    assert open_scan(path).dpi == (300, 300)


@pytest.mark.parametrize("channels", [1, 3])
def test_jpeg_for_other_readers(tmp_path, channels):
    pixels, path = noise(channels, np.uint8) // 8 + np.uint8(100), tmp_path / "a.jpg"
    save_jpeg(path, pixels, 600, quality=95, icc=ICC if channels == 3 else None)
    image = Image.open(path)
    assert np.abs(np.asarray(image).astype(int) - pixels.squeeze()).mean() < 4
    assert image.info["dpi"] == (600, 600)
    # luminance table of ITU-T T.81 annex K at quality 95: libjpeg scales 16 by 10 % to 2
    assert image.quantization[0][0] == 2
    assert open_scan(path).lossy


def test_no_resolution_is_written_as_none(tmp_path):
    save_tiff(tmp_path / "a.tif", noise(1, np.uint8), None)
    assert open_scan(tmp_path / "a.tif").dpi is None


def test_the_same_pixels_make_the_same_bytes(tmp_path):
    for name in "ab":
        save_tiff(tmp_path / f"{name}.tif", noise(3, np.uint8), 600)
        save_png(tmp_path / f"{name}.png", noise(3, np.uint8), 600)
    assert (tmp_path / "a.tif").read_bytes() == (tmp_path / "b.tif").read_bytes()
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


@pytest.mark.parametrize("save", [save_tiff, save_png, save_jpeg])
def test_a_failed_write_is_one_line_and_keeps_the_old_file(tmp_path, monkeypatch, save):
    (tmp_path / "no").write_text("a file where a folder should be")
    with pytest.raises(BadOption, match="cannot be written") as caught:
        save(tmp_path / "no" / "a.tif", noise(3, np.uint8), 600)
    assert "\n" not in str(caught.value)
    (tmp_path / "no").unlink()

    (tmp_path / "a.tif").write_text("old")

    def full(*_args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(BadOption, match="No space left"):
        save(tmp_path / "a.tif", noise(3, np.uint8), 600)
    assert [path.name for path in tmp_path.iterdir()] == ["a.tif"]
    assert (tmp_path / "a.tif").read_text() == "old"
