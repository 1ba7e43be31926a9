"""A rectangle of a scan that answers as a scan of its own."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from scanqa.model import Driver, Pixels, Scan, Window
from scanqa.scans.array import check_inside


@dataclass(frozen=True, slots=True, eq=False)
class CutScan:
    """Pixels of `whole` inside `part`; everything else is as of the whole (`scanqa.model.Scan`)."""

    whole: Scan
    part: Window

    @property
    def name(self) -> str:
        """Of the whole."""
        return self.whole.name

    @property
    def width_px(self) -> int:
        """Columns."""
        return self.part.width

    @property
    def height_px(self) -> int:
        """Rows."""
        return self.part.height

    @property
    def channels(self) -> int:
        """1 or 3."""
        return self.whole.channels

    @property
    def bits(self) -> int:
        """8 or 16."""
        return self.whole.bits

    @property
    def dpi(self) -> tuple[float, float] | None:
        """As the file says."""
        return self.whole.dpi

    @property
    def icc(self) -> bytes | None:
        """Profile."""
        return self.whole.icc

    @property
    def format(self) -> str:
        """Of the file."""
        return self.whole.format

    @property
    def lossy(self) -> bool:
        """Whether the file is."""
        return self.whole.lossy

    @property
    def sha256(self) -> str:
        """Of the whole file."""
        return self.whole.sha256

    @property
    def modified(self) -> str:
        """When the file was written."""
        return self.whole.modified

    @property
    def seconds(self) -> float | None:
        """How long the whole took."""
        return self.whole.seconds

    @property
    def driver(self) -> Driver | None:
        """What the whole says of its driver."""
        return self.whole.driver

    @property
    def notes(self) -> tuple[str, ...]:
        """On the file."""
        return self.whole.notes

    def window(self, window: Window) -> Pixels:
        """Pixels of a window of the part.

        Raises
        ------
        ValueError
            If it reaches outside the part.
        """
        check_inside(window, self.width_px, self.height_px)
        row, col = window.row + self.part.row, window.col + self.part.col
        return self.whole.window(Window(row, col, window.height, window.width))

    def strips(self, rows: int = 256) -> Iterator[tuple[int, Pixels]]:
        """First row and pixels of each strip of the part, from top to bottom."""
        for row in range(0, self.height_px, rows):
            height = min(rows, self.height_px - row)
            yield row, self.window(Window(row, 0, height, self.width_px))
