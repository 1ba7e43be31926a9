"""Do stated 95 % intervals hold the truth in hard cases? A table, run by hand.

Each module beside this one tries some quantities: its ``case(rng)`` draws a scanner and how it was
used, all anew (paper, print, laying, curve, noise, JPEG or none, dpi: `hard`), has it simulated,
measures it as `scanqa.qualification` does, and yields what is stated beside the truth that was
planted. ``MODULE.CASES`` may ask for more cases than `CASES`.
"""

from dataclasses import dataclass

from scanqa.model import Measurement

CASES = 100


@dataclass(frozen=True, slots=True)
class Tried:
    """A value that is stated, and the truth.

    Attributes
    ----------
    quantity : str
        Row of the table.
    stated : Measurement or None
        None where nothing was said.
    relative : bool
        Whether the width is shown as a share of the truth, in %.
    """

    quantity: str
    stated: Measurement | None
    truth: float
    relative: bool = False
