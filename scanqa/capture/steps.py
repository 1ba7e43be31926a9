"""What to lay on the glass, step by step: data.

The two blanks come first, the paper moved between them: measures of noise compare the first two.
Scans that follow without a touch (`Step.follows`) serve drift. What only a driver can show
(`BY_DRIVER`) is never asked for unless somebody asks for it by name.
"""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import dedent
from typing import Literal

from scanqa.capture.driver_options import Look
from scanqa.model import Role


@dataclass(frozen=True, slots=True)
class Step:
    """One scan.

    Attributes
    ----------
    id : str
        Names the step and its file.
    role : str
        What should be recognised.
    lay : str
        What to do, in words.
    drawing : str
        The same as a small drawing.
    handling_s : float
        Time that the laying takes: our estimate, for the time left.
    moved_since : str
        A step since which the paper must have been moved.
    follows : bool
        Scanned without a touch after the step before.
    turned_deg : int or None
        By how much the sheet is turned against the first scan of it.
    highest_dpi : bool
        At the highest dpi on offer, the middle of the bed only.
    needs_mm : (width, height) or None
        Smallest bed on which it can be done.
    optional : bool
        Things that not everybody has at hand.
    needs_rested_light : bool
        Not scanned before the light rests.
    look : str
        A look that only the driver can give, and whose option it asks for; else empty.
    """

    id: str
    role: Role
    lay: str
    drawing: str
    handling_s: float = 25.0
    moved_since: str = ""
    follows: bool = False
    turned_deg: int | None = None
    highest_dpi: bool = False
    needs_mm: tuple[float, float] | None = None
    optional: bool = False
    needs_rested_light: bool = False
    look: Look | Literal[""] = ""


def _drawing(text: str) -> str:
    return dedent(text).strip("\n")


BLANK = _drawing("""
    +--------------------+
    |                    |   the glass, all of it under
    |    white   paper   |   plain white paper;
    |                    |   lid down
    +--------------------+
""")
MOVED = _drawing("""
    +--------------------+
    |  -->               |   the same paper, moved by
    |    white   paper   |   two or three centimetres and
    |               -->  |   turned a little; lid down
    +--------------------+
""")
STILL = _drawing("""
    +--------------------+
    |                    |   nothing touched
    |    white   paper   |
    |                    |
    +--------------------+
""")
DARK = _drawing("""
    +--------------------+
    |####################|   black card over the
    |#### black  card ###|   whole glass; lid down
    |####################|
    +--------------------+
""")
SHEET = _drawing("""
    +--------------------+
    | .---------------.  |   the bed sheet, print down,
    | | ^   bed-sheet |  |   its top toward the top,
    | '---------------'  |   straight, under a flat weight
    +--------------------+
""")
SHEET_180 = _drawing("""
    +--------------------+
    | .---------------.  |   the bed sheet, print down,
    | | v   bed-sheet |  |   turned by half a turn
    | '---------------'  |
    +--------------------+
""")
SHEET_90 = _drawing("""
    +--------------------+
    |   .---------.      |   the bed sheet, print down,
    |   | > bed-  |      |   turned by a quarter turn
    |   |   sheet |      |
    +---+---------+------+
""")
STRIPS = _drawing("""
       ======   ======
    +--[    ]---[    ]---+   the strips, print down, each
    =[ ]              [ ]=   folded over an edge of the
    |                    |   glass or pushed against its
    +--[    ]---[    ]---+   frame
       ======   ======
""")
BOOK = _drawing("""
    book edge
       |+------------------+
     __||  open page       |   a bound book hanging over the
    /  ||  with white      |   book edge, open at pages with
    |  ||  margins         |   white margins, pressed down
    \\__|+------------------+
""")
RAMP = _drawing("""
    book edge
       |+------------------+
       |B~~~~~~A [weight]  |   the folded ramp, print down: lip
       ||slope    flat     |   B right above the book edge; a
       |+------------------+   dark cloth over it
""")
BACK = _drawing("""
    +--------------------+
    | .---------------.  |   the back-print sheet, its side
    | | black blocks  |  |   with tags and words on the
    | '---------------'  |   glass, the black blocks up
    +--------------------+
""")

CARD = _drawing("""
    +--------------------+
    |####################|   the sheet stays as it lies;
    |###  black card  ###|   black card over all of it,
    |####################|   then the lid
    +--------------------+
""")

EDGE_CARD = _drawing("""
    +--------------------+
    |#### _______ #######|   a piece of glossy photo paper cut
    |### /  card /  #####|   with a sharp knife, bright side
    |## /______ / #######|   down, turned by about 5 degrees;
    +--------------------+   black card over all; lid down
""")

BLANKS = (
    Step(
        "blank-1",
        "blank",
        "Lay plain white paper over the whole glass, lid down.",
        BLANK,
        needs_rested_light=True,
    ),
    Step(
        "blank-2",
        "blank",
        "Move the paper by two or three centimetres and turn it a little, lid down.",
        MOVED,
        15.0,
        moved_since="blank-1",
    ),
)

FULL = (
    *BLANKS,
    Step("blank-3", "blank", "Touch nothing.", STILL, 0.0, follows=True),
    Step("blank-4", "blank", "Touch nothing.", STILL, 0.0, follows=True),
    Step(
        "dark",
        "dark",
        "Lay black card over the whole glass, lid down.",
        DARK,
        optional=True,
    ),
    Step(
        "bed-sheet",
        "bed-sheet",
        "Lay the bed sheet on the glass, print down, straight, under a flat weight.",
        SHEET,
        60.0,
    ),
    Step(
        "claim",
        "claim",
        "Leave the bed sheet as it lies: its middle is scanned at the highest dpi.",
        SHEET,
        5.0,
        highest_dpi=True,
        optional=True,
    ),
    Step(
        "bed-sheet-180",
        "bed-sheet",
        "Turn the bed sheet by half a turn on the glass, print down.",
        SHEET_180,
        30.0,
        turned_deg=180,
    ),
    Step(
        "bed-sheet-90",
        "bed-sheet",
        "Turn the bed sheet by a quarter turn, print down, all of it on the glass.",
        SHEET_90,
        30.0,
        turned_deg=90,
        needs_mm=(290.0, 290.0),
        optional=True,
    ),
    Step(
        "edge-card",
        "edge-card",
        "Lay the edge card, bright side down, in the middle of the glass, turned by about 5°: a "
        "piece of glossy photo paper of 5 to 8 cm, all four sides cut with a sharp knife along a "
        "steel rule; black card over all of the glass.",
        EDGE_CARD,
        120.0,
        optional=True,
    ),
    Step(
        "edge-strips",
        "edge-strip",
        "Lay the edge strips, print down, each fold hooked over an edge of the glass or pushed "
        "against its frame.",
        STRIPS,
        90.0,
        optional=True,
    ),
    Step(
        "gutter-ramp",
        "gutter-ramp",
        "Lay the folded gutter ramp on the glass, print down, its lip B right above the book edge; "
        "weigh the flat part down and cover all of it with a dark cloth.",
        RAMP,
        60.0,
        optional=True,
    ),
    Step(
        "open-book",
        "open-book",
        "Hang a bound book over the book edge, open at pages with white margins.",
        BOOK,
        60.0,
        optional=True,
    ),
    Step(
        "back-print-lid",
        "back-print",
        "Lay the back-print sheet, its tags and words on the glass, under the white lid.",
        BACK,
        40.0,
        optional=True,
    ),
    Step(
        "back-print-card",
        "back-print",
        "Leave the back-print sheet as it lies, and put black card between it and the lid.",
        CARD,
        30.0,
        optional=True,
    ),
)


NOT_TRIED = "Not yet tried on a real scanner: tell what it did."
BY_DRIVER = (
    Step(
        "dark-frame",
        "dark",
        "Leave the lid down. The lamp stays off and the carriage goes over the glass once, as in a "
        f"usual scan. {NOT_TRIED}",
        STILL,
        5.0,
        optional=True,
        look="dark-frame",
    ),
    Step(
        "white-strip",
        "white-strip",
        "Lay black card over the whole glass, lid down. The carriage begins farther back than "
        "usual, under the frame, where the white strip lies to which the driver calibrates: if it "
        f"knocks against its end, stop with Ctrl-C and switch the scanner off. {NOT_TRIED}",
        DARK,
        40.0,
        optional=True,
        look="white-strip",
    ),
    Step(
        "uncalibrated",
        "uncalibrated",
        "Lay plain white paper over the whole glass, lid down. The carriage goes over the glass "
        "once; the driver leaves its correction to the white strip out, so that the picture is "
        f"uneven: that is the light itself. {NOT_TRIED}",
        BLANK,
        40.0,
        optional=True,
        needs_rested_light=True,
        look="uncalibrated",
    ),
)


def fitting(plan: tuple[Step, ...], bed_mm: tuple[float, float] | None) -> tuple[Step, ...]:
    """Steps of a plan that a bed is large enough for; all of them if its size is not known."""
    if bed_mm is None:
        return plan
    return tuple(
        step
        for step in plan
        if step.needs_mm is None
        or all(bed >= need for bed, need in zip(bed_mm, step.needs_mm, strict=True))
    )
