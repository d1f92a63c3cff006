"""The words of the job sheet: from the cutter to the press, and the usual cautions.

Figures for the press are common practice, no source; makers' instructions go before them.
"""

from __future__ import annotations

from collections.abc import Sequence

from stonelayout.model.shop_rates import Sets
from stonelayout.template.tiles import Tile
from stonelayout.template.tiling import seams

from .html_pages import CAUTION_CHILDREN

TEST_CUT = "Make a test cut on a scrap of the same sheet first: the settings are only a start."

CUT = (
    TEST_CUT,
    "The discs must come away clean, and the knife must not go through the backing.",
    "Cut every template from its own file, as it is: never scale, turn or centre one by hand.",
    "Keep the register edge and the marks on every template.",
)
WEED = (
    "Peel the sheet off its backing slowly and flat; most discs stay behind.",
    "Pick out the discs that are left, and hold the template against a light: every hole must be "
    "open.",
    "Where a web has torn, cut that template again; a patch lets stones wander.",
)
BRUSH = (
    "Lay template 1 flat on a board and pour on its stones, a few more than it needs.",
    "Brush them in small circles until every hole holds one stone, its shining side up.",
    "Sweep the rest off the sheet, back to the box of their size and colour.",
)
CORNER = (
    "Set the corner of the tape in the corner of the register edge and lay it down along the edge.",
)
LIFT = (
    "Rub the tape down, draw the crosses on it with a pen, and lift it straight up with the "
    "stones.",
)
NEXT = ("Brush the next template, in the order of the list above.",)
NEXT_CORNER = (
    "Lay the tape with its stones on it the same way: corner in the corner, along the register "
    "edge.",
)
SEATED = (
    "The pen crosses must lie on the crosses of this template before you let the tape down.",
    "The F beside the crosses must read as an F: if it does not, the template lies on its face or "
    "the wrong way round.",
)


def cut_so_many(sets: Sets) -> tuple[str, ...]:
    """Return how many of each template are cut and when one is changed; nothing for one set."""
    if sets.count == 1:
        return ()
    return (
        f"Cut {sets.count} of each template: change to the next after {sets.transfers} "
        "transfers, when the last is worn.",
    )


def tiled(tiles: Sequence[Tile]) -> tuple[str, ...]:
    """Return how tiles are lifted on one tape and seated next to each other."""
    opposite = {"right": "left", "bottom": "top"}
    return (
        f"The design is larger than a sheet, so that it is cut in {len(tiles)} tiles. Take one "
        "piece of tape as large as the whole design and its marks; join strips if none is wide "
        "enough.",
        "Draw the crosses of all tiles on the tape before you lift anything, with one template of "
        "each tile, tile 1 first: lay the left side of the tape along its register edge, so that "
        "the tape reaches over where the other tiles will be, and draw all its crosses, also those "
        "at the sides where other tiles join.",
        *(
            f"Tile {later.number} joins tile {earlier.number} at its {side} side, where both have "
            "the same two crosses: seat the tape so that their pen crosses lie on the two at the "
            f"{opposite[side]} side of tile {later.number}."
            for earlier, later, side in seams(tiles)
        ),
        "Draw the other crosses of every tile so seated. Then brush and lift in the order of the "
        "list: each template is seated by all pen crosses of its tile; no corner of the tape is "
        "needed.",
    )


LOOK = (
    "upside down: the dark, glued side shows; hard to see on a dark sheet, so use a slanting light",
    "missing: a gap in a row; put a stone in with tweezers",
    "stacked: two stones in one hole, or a stone on the web",
    "strays: a stone of another size or colour",
)
PRESS = (
    "Follow the stone maker's and the garment maker's instructions; try a hidden place first.",
    "Common practice, as a hint only: 160 to 171 degrees C (320 to 340 F) for 10 to 20 seconds at "
    "medium pressure, under a cover sheet.",
    "Press the garment for a moment first, to dry and flatten it.",
    "Let it cool, peel the tape low and slowly, then press once more from the inside.",
)
CAUTIONS = (
    "Knife: keep it covered until it is in the holder, and cut away from your hand.",
    "Press: plate, tape and stones are hot enough to burn; keep hands clear, wear gloves.",
    CAUTION_CHILDREN,
    "Never cut vinyl (PVC) sheet with a laser: it gives off hydrogen chloride and chlorine.",
    "Local rules and the makers' instructions go before anything on this sheet.",
)
