"""Files that are no scans that can be read, told by their first bytes."""

from __future__ import annotations


def what_else(head: bytes) -> str:
    """What a file is that is no TIFF, PNG or JPEG, in words.

    Parameters
    ----------
    head : bytes
        Its first 16 bytes.
    """
    named = {
        b"%PDF": "a PDF",
        b"GIF8": "a GIF image",
        b"BM": "a BMP image",
        b"P4": "a PBM image",
        b"P5": "a PGM image",
        b"P6": "a PPM image",
        b"\xff\x4f\xff\x51": "a JPEG 2000 image",
        b"\0\0\0\x0cjP  ": "a JPEG 2000 image",
        b"PK\x03\x04": "a ZIP archive",
        b"\x1f\x8b": "a gzip archive",
    }
    for magic, name in named.items():
        if head.startswith(magic):
            return f"is {name}, which is not read"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "is a WebP image, which is not read"
    if head[4:8] == b"ftyp":
        return "is a HEIF, AVIF or video file, which is not read"
    text = all(byte >= 32 or byte in b"\t\n\r\f\x1b" for byte in head)
    return "is text, not an image" if text else "is not an image of a known kind"
