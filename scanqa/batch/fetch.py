"""Files at hand: those that lie elsewhere are fetched for as long as they are needed.

A store is read in pieces into a folder of its own, which is removed whatever happens. What the
store says of a file's age is when it was put there, not when it was scanned: all files fetched are
given one moment, which the measures of time read as *copied*.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Any
from urllib.parse import urlsplit

from scanqa.errors import ScanqaError, UnreadableScan

PIECE_BYTES = 4 << 20
MOST_BYTES = 16 << 30  # of one set: an A3 bed of 1200 dpi, 16 bit, is 1.7 GB
SPARE_BYTES = 1 << 30  # left free on the disk
_URL = re.compile(r"[a-z][a-z0-9+.-]+://")


class StoreGone(ScanqaError):
    """A store of files that does not answer: nothing is wrong with the files themselves."""


def is_url(name: str) -> bool:
    """Whether a name is an fsspec URL."""
    return _URL.match(name) is not None


@contextmanager
def at_hand(names: Sequence[str]) -> Iterator[dict[str, Path]]:
    """Local paths of files, by name.

    Raises
    ------
    UnreadableScan
        If a file is not there, may not be read or is too large.
    StoreGone
        If its store does not answer.
    """
    if not any(map(is_url, names)):
        yield {name: Path(name) for name in names}
        return
    with tempfile.TemporaryDirectory(prefix="scanqa-") as folder:
        paths = {}
        left = min(MOST_BYTES, shutil.disk_usage(folder).free - SPARE_BYTES)
        for name in names:
            paths[name] = Path(name)
            if is_url(name):
                paths[name] = Path(folder) / _inside(name)
                left -= _fetch(name, paths[name], left)
        yield paths


def _inside(url: str) -> Path:
    """The place of a URL in a folder; files of one name in two places stay two."""
    parts = urlsplit(url)
    kept = [part for part in PurePosixPath(parts.netloc + parts.path).parts if part not in "/.."]
    return Path(*kept)


def _fetch(url: str, to: Path, most: int) -> int:
    """Copy a file in pieces; its size."""
    fsspec = _fsspec(url)
    try:
        files, place = fsspec.core.url_to_fs(url)
        size = files.size(place)
        if size is None or size > most:
            raise UnreadableScan(
                url, f"needs {(size or 0) / 1e9:.1f} GB, {most / 1e9:.1f} GB are free for it",
                "make room in the folder for temporary files (TMPDIR)",
            )  # fmt: skip
        to.parent.mkdir(parents=True, exist_ok=True)
        with files.open(place, "rb", block_size=PIECE_BYTES) as there, to.open("wb") as here:
            shutil.copyfileobj(there, here, PIECE_BYTES)
    except (FileNotFoundError, IsADirectoryError) as error:
        raise UnreadableScan(url, "is not there", "see where it lies now") from error
    except PermissionError as error:
        raise UnreadableScan(
            url, "may not be read", "see that the workers' own credentials allow it"
        ) from error
    except ScanqaError:
        raise
    except _failures() as error:
        raise StoreGone(
            f"{urlsplit(url).scheme}://{urlsplit(url).netloc}: does not answer "
            f"({type(error).__name__}); see that the store is up and reachable from the workers"
        ) from error
    if to.stat().st_size != size:
        raise UnreadableScan(url, "changed while it was fetched", "start the same batch again")
    return int(size)


def _fsspec(url: str) -> Any:
    """The library, if it can read such URLs."""
    scheme = urlsplit(url).scheme
    try:
        import fsspec

        fsspec.get_filesystem_class(scheme)
    except (ImportError, ValueError) as error:
        raise UnreadableScan(
            url, f"{scheme}:// needs a part that is not installed", "pip install 'scanqa[s3]'"
        ) from error
    return fsspec


def _failures() -> tuple[type[BaseException], ...]:
    """What libraries for stores raise when a store is not there or does not let us in."""
    found: list[type[BaseException]] = [OSError, TimeoutError]
    try:
        from botocore.exceptions import BotoCoreError, ClientError

        found += [BotoCoreError, ClientError]
    except ImportError:
        pass
    try:
        from aiohttp import ClientError as HttpError

        found.append(HttpError)
    except ImportError:
        pass
    return tuple(found)
