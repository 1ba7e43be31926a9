"""From files and folders to placements: what lies on each scan, and where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from scanqa.errors import BadOption, ScanqaError, UnreadableScan
from scanqa.locate import locate
from scanqa.model import Placement, Rejected, Told
from scanqa.scans import SUFFIXES
from scanqa.scans.linear import linear
from scanqa.scans.open import FileScan, open_scan
from scanqa.scans.overview import overview
from scanqa.side_by_side import side_by_side


def find_scans(paths: Sequence[Path]) -> tuple[list[Path], list[Rejected]]:
    """Files to read: those named, and the images in the folders named (not below them)."""
    files: list[Path] = []
    rejected: list[Rejected] = []
    for path in paths:
        if not path.is_dir():
            files.append(path)
            continue
        inside = sorted(
            p for p in path.iterdir() if p.suffix.lower() in SUFFIXES and not p.is_dir()
        )
        if not inside:
            error = UnreadableScan(
                path, "the folder holds no scans", "put TIFF, PNG or JPEG files in it"
            )
            rejected.append(Rejected(str(path), str(error)))
        files += inside
    return list(dict.fromkeys(files)), rejected


def unlike_names(paths: Sequence[Path]) -> list[str]:
    """A name for each file, no two alike: the file's own, with as many folders as that takes."""
    depth = [1] * len(paths)
    while True:
        names = [str(Path(*p.parts[-d:])) for p, d in zip(paths, depth, strict=True)]
        again = [
            at
            for at, name in enumerate(names)
            if names.count(name) > 1 and depth[at] < len(paths[at].parts)
        ]
        if not again:
            return names
        for at in again:
            depth[at] += 1


def placed(
    files: Sequence[Path],
    told: Told,
    processes: int,
    progress: Callable[[int, str], None],
    meanwhile: Callable[[], None],
) -> tuple[list[Placement], list[Rejected]]:
    """Every file's scan with its frame, and the files that cannot be used.

    Parameters
    ----------
    processes : int
        As of `side_by_side.processes_to_use`.
    progress : callable
        Told how many are done and what is begun.
    meanwhile : callable
        As of `side_by_side.side_by_side`.
    """
    opened = [_open(*named) for named in zip(files, unlike_names(files), strict=True)]
    scans = [scan for scan in opened if not isinstance(scan, Rejected)]
    placed = iter(
        side_by_side(
            partial(_place, told=told),
            scans,
            cost=lambda scan: scan.width_px * scan.height_px * scan.channels,
            begun=lambda done, scan: progress(done, f"reading {scan.name}"),
            processes=processes,
            meanwhile=meanwhile,
        )
    )
    placements: list[Placement] = []
    rejected: list[Rejected] = []
    for scan in opened:
        found = scan if isinstance(scan, Rejected) else next(placed)
        if isinstance(found, Rejected):
            rejected.append(found)
        else:
            assert not isinstance(scan, Rejected)
            scan.learn(found[0].scan)
            placements += (replace(placement, scan=scan) for placement in found)
    return placements, rejected


def _open(path: Path, name: str) -> FileScan | Rejected:
    try:
        scan = open_scan(path, name=name)
        scan.make_room()  # whichever process unpacks it fills it for all
    except ScanqaError as error:
        return Rejected(str(path), str(error))
    return scan


def _place(scan: FileScan, *, told: Told) -> tuple[Placement, ...] | Rejected:
    """What lies on a scan and where, or why the file cannot be used."""
    try:
        light = linear(scan, curve=told.curve)
        found = locate(
            scan,
            overview(scan),
            light,
            dpi=told.dpi,
            role=told.roles.get(scan.path),
            book_edge=told.book_edge,
        )
        scan.sha256  # noqa: B018 - the file is in the cache now, and the scan keeps it
    except BadOption:
        raise
    except ScanqaError as error:
        return Rejected(str(scan.path), str(error))
    return found


def check_unchanged(placements: Sequence[Placement]) -> None:
    """See that no file was written to since it was opened.

    Raises
    ------
    UnreadableScan
        If one was: its values may be of two images.
    """
    for scan in {placement.scan for placement in placements}:
        if isinstance(scan, FileScan):
            scan.check_unchanged()
