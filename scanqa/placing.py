"""From files and folders to placements: what lies on each scan, and where."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

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
    meanwhile: Callable[[object], None],
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
    count = len(scans)
    works: list[Callable[[], Any]] = [partial(_place, scan, told=told) for scan in scans]
    works += [partial(_hash, scan) for scan in scans]  # so that a single scan takes two processes

    def begun(done: int, at: int) -> None:
        if at < count:
            progress(done, f"reading {scans[at].name}")

    found = side_by_side(
        lambda at: works[at](),
        range(len(works)),
        cost=lambda at: _samples(scans[at]) if at < count else 0,
        begun=begun,
        processes=processes,
        meanwhile=meanwhile,
    )
    placed = iter(zip(found[:count], found[count:], strict=True))
    placements: list[Placement] = []
    rejected: list[Rejected] = []
    for scan in opened:
        if isinstance(scan, Rejected):
            rejected.append(scan)
            continue
        lies, sha256 = next(placed)
        if isinstance(lies, Rejected):
            rejected.append(lies)
            continue
        if sha256:
            scan.learn(sha256)
        placements += (replace(placement, scan=scan) for placement in lies)
    return placements, rejected


def _samples(scan: FileScan) -> int:
    return scan.width_px * scan.height_px * scan.channels


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
    except BadOption:
        raise
    except ScanqaError as error:
        return Rejected(str(scan.path), str(error))
    return found


def _hash(scan: FileScan) -> str:
    """Of a scan's file; empty if it is gone, which is told at the end."""
    try:
        return scan.sha256
    except OSError:
        return ""


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
