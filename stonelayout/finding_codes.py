"""The registry of all finding codes: severity, what each means and what to do about it.

``Finding`` refuses a code or a severity that is not registered here, and a test holds that every
code registered is used. ``stonelayout findings`` prints the registry.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True)
class FindingCode:
    """One kind of finding.

    ``name`` is stable and hyphenated; ``severities`` are those that it is reported with, the
    gravest first; ``meaning`` and ``remedy`` are one sentence each, for the owner of a shop.
    """

    name: str
    severities: tuple[Severity, ...]
    meaning: str
    remedy: str


#: All codes by the step of the work that reports them, in the order of the work.
CODES_BY_STEP: dict[str, tuple[FindingCode, ...]] = {
    "Reading the drawing": (
        FindingCode(
            "not-read",
            ("warning",),
            "A part of the drawing or of the hole file was not read, or not as it was drawn.",
            "Turn that part into plain shapes in your drawing program (text into outlines), save "
            "the file as SVG, and read it again.",
        ),
        FindingCode(
            "smaller-than-asked",
            ("warning",),
            "The width or height that you gave became the page's, and the design on the page is "
            "clearly smaller.",
            'Write size_of = "design" beside the width in the job file (on the command line: '
            '--size-of design), or "page" if you meant the page.',
        ),
        FindingCode(
            "about-the-drawing",
            ("note",),
            "Something in the drawing was taken in a way that you should know of, such as its "
            "size, a font or a background.",
            "Compare the proof with the drawing; if they differ there, change the drawing.",
        ),
        FindingCode(
            "draws-nothing",
            ("note",),
            "A part of the drawing is hidden, or has neither fill nor stroke, so it gets no "
            "stones.",
            "If it should get stones, show it and give it a fill or a stroke.",
        ),
    ),
    "Laying the stones": (
        FindingCode(
            "row-without-room",
            ("warning",),
            "A row of stones finds no room inside a shape, because the shape is too narrow for it.",
            "Choose a smaller stone size for this shape, or fewer rows.",
        ),
        FindingCode(
            "shape-not-picked",
            ("warning",),
            "No rule of the job file picks this shape, so it gets no stones.",
            "Add a [[lay]] rule that picks it, for example with pick = { rest = true }.",
        ),
        FindingCode(
            "shape-without-stones",
            ("warning", "note"),
            "A rule picks this shape and lays no stone on it: no stone has room (warning), or "
            "earlier rules have filled it (note).",
            "If it should get stones, choose a smaller size, or pick it in an earlier rule.",
        ),
        FindingCode(
            "stroke-too-narrow",
            ("warning",),
            "A part of a shape is narrower than the stone and stays without stones.",
            "Choose a smaller size, or let stones hang over the outline: the spine pattern with "
            'overhang = "0.5 mm" (0.02 in).',
        ),
        FindingCode(
            "line-as-guide",
            ("note",),
            "All lines are drawn far thinner than the stones, so they only say where rows run, "
            "and the sizes of the list are chosen by room, not by the lines' widths.",
            "If the lines' widths should choose the sizes, draw them as wide as the stones.",
        ),
        FindingCode(
            "row-on-open-line",
            ("note",),
            "A row was asked for inside or outside a line that does not close, so it stands on "
            "the line.",
            "If the line should enclose an area, close it in the drawing.",
        ),
        FindingCode(
            "row-stones-removed",
            ("note",),
            "Stones were left out where rows meet or cross, and their neighbours spaced anew.",
            "Look at the place on the proof; if the gap shows, move the lines apart or choose a "
            "smaller size.",
        ),
        FindingCode(
            "size-left-out",
            ("note",),
            "A size of the list would have had only a few stones, so the rule does without it and "
            "you need one template less.",
            "To use it all the same, write fewest = 1 in the rule.",
        ),
        FindingCode(
            "size-not-used",
            ("note",),
            "No place was left that a size of the list would fill better than the others.",
            "Nothing needs to be done; take the size out of the list if you do not want it.",
        ),
        FindingCode(
            "stones-given-way",
            ("note",),
            "Stones of a later rule were left out where stones of an earlier rule stand too near.",
            "Look at the place on the proof; if the wrong stones are missing, change the order of "
            "the rules.",
        ),
        FindingCode(
            "stroke-under-stone",
            ("note",),
            "A drawn line is thinner than the smallest size of the list, so its stones stand over "
            "it on both sides.",
            "If they should not, add a smaller size to the list or draw the line wider.",
        ),
        FindingCode(
            "stroke-wide",
            ("note",),
            "A shape laid with one row along its middle is wide enough for more.",
            'If it should be filled, write pattern = "courses".',
        ),
    ),
    "Reading hole files": (
        FindingCode(
            "set-incomplete",
            ("error",),
            "Files of the folder's set of templates are missing.",
            "Run the command that wrote the folder again.",
        ),
        FindingCode(
            "set-mixed",
            ("error",),
            "The folder holds templates that are not of its set, such as a layer of an earlier "
            "design.",
            "Move them out of the folder, or write the set into a new one.",
        ),
        FindingCode(
            "set-unfinished",
            ("error",),
            "A run stopped between the files of two sets, so the folder may hold some of each.",
            "Run the same command into the folder again, which finishes it, before you cut.",
        ),
        FindingCode(
            "web-between-sizes",
            ("error",),
            "The web between holes for two stone sizes in one file is thinner than the sheet "
            "holds, and a file is one sheet unless you say otherwise.",
            "Widen the gap, or cut the sizes from separate sheets and say so: check --apart.",
        ),
        FindingCode(
            "already-corrected",
            ("warning",),
            "The file was corrected by a test bar when it was written: its sizes are the "
            "cutter's, not the design's.",
            "Make other files from layout.json.",
        ),
        FindingCode(
            "already-mirrored",
            ("warning",),
            "The file was mirrored when it was written: it shows the back of the design.",
            "Make other files from layout.json.",
        ),
        FindingCode(
            "marked-anew",
            ("warning",),
            "The template had register marks and got new ones, which fit only the templates that "
            "are written with it now.",
            "To cut one torn template again, send its own file to the cutter as it is.",
        ),
        FindingCode(
            "no-such-stone",
            ("warning",),
            "No stone size fits these holes within 0.35 mm (0.014 in): the sheet named may be "
            "another one, or the file is at another scale.",
            "Measure one hole on the cut sheet, and give the right --sheet or --width.",
        ),
        FindingCode(
            "not-round",
            ("warning",),
            "Shapes in the file are not round and were not taken for holes.",
            "If stones belong there, draw circles in their place.",
        ),
        FindingCode(
            "off-page",
            ("warning",),
            "Holes reach over the edge of the file's page, where cutting programs may leave them "
            "out.",
            "Move them onto the page, or make the page larger.",
        ),
        FindingCode(
            "set-changed",
            ("warning",),
            "Files of the set were changed since they were written.",
            "Look at the changes, and write the set again if you did not make them.",
        ),
        FindingCode(
            "set-not-known",
            ("warning",),
            "The folder has no record that tells which files belong together.",
            "Write the templates into a new folder, or make sure that all have one date.",
        ),
        FindingCode(
            "size-in-px",
            ("note",),
            "The file gives its size in px, which was read at 96 px an inch (1 px = 0.265 mm, "
            "0.0104 in).",
            "Measure a length that you know; if it is wrong, give the page's width, for example "
            "--width 240mm (9.449in).",
        ),
    ),
    "Checking the template": (
        FindingCode(
            "holes-meet",
            ("error",),
            "Two holes of one template run into each other: no web is left between them.",
            "Lay the stones wider apart, or take one of the two out.",
        ),
        FindingCode(
            "larger-than-sheet",
            ("error",),
            "The template with its marks does not fit the sheet's roll.",
            "Make the design smaller, choose a wider sheet, or have it cut in tiles (--tile, or "
            "tile = true in the job file).",
        ),
        FindingCode(
            "same-place",
            ("error", "note"),
            "A hole stands twice in the same place; cut leaves the second one out (note).",
            "Delete one of the two in the file.",
        ),
        FindingCode(
            "stone-over-hole",
            ("error",),
            "A stone that is on the tape already comes down over a hole of a later template, and "
            "pushes against the stone in it.",
            "Move the two apart, or leave one of them out.",
        ),
        FindingCode(
            "stones-touch",
            ("error",),
            "Stones of two templates overlap on the garment.",
            "Move one of the two, or leave it out.",
        ),
        FindingCode(
            "web-too-thin",
            ("error",),
            "The web between two holes is thinner than the sheet holds; it breaks when you weed "
            "the holes or brush the stones in.",
            "Widen the gap, divide the layer over two templates (cut --split), or take a sheet "
            "that holds a thinner web.",
        ),
        FindingCode(
            "hangs-on-little",
            ("warning",),
            "A ring of holes encloses more than 1 cm2 (0.16 square inch) of solid sheet, which "
            "hangs on thin webs alone.",
            "Widen the gap of that ring, or leave a few of its stones out.",
        ),
        FindingCode(
            "stones-may-touch",
            ("warning",),
            "Two stones of different templates have room at their nominal diameters, but not when "
            "both are as large as their sizes allow.",
            "Widen the gap between them.",
        ),
        FindingCode(
            "tear-line",
            ("warning",),
            "Eight or more thin webs follow each other, along which the sheet tears like a stamp.",
            "Lay these stones wider apart, or leave some out.",
        ),
        FindingCode(
            "weak-across",
            ("warning",),
            "Little of the sheet is left on a line of holes from one edge to the opposite one, "
            "so it stretches or tears when you lift it.",
            "Widen the gap along that line, or divide the layer over two templates (cut --split).",
        ),
        FindingCode(
            "web-under-thickness",
            ("warning",),
            "Webs are narrower than the sheet is thick, which few cutters cut cleanly.",
            "Widen the gap or take a thinner sheet; or find out with a test piece what your sheet "
            "holds (stonelayout coupon).",
        ),
        FindingCode(
            "backs-hard-to-see",
            ("note",),
            "The dark backs of stones hardly differ from the sheet's colour, so stones that lie "
            "upside down are easily missed.",
            "Look at the sheet against the light before you lift, or take a sheet of a light "
            "colour.",
        ),
        FindingCode(
            "colour-not-known",
            ("note",),
            "The catalogue has no such colour, so its stones are drawn grey on proof and job "
            "sheet.",
            "Add the colour with its RGB to your catalogue file, or name one that is there.",
        ),
        FindingCode(
            "cut-in-tiles",
            ("note",),
            "The design is larger than the sheet and is cut in several tiles.",
            "Lift the tiles on one tape in the order of the job sheet.",
        ),
        FindingCode(
            "stones-hard-to-see",
            ("note",),
            "The stones hardly differ from the sheet's colour, so empty holes are easily missed.",
            "Look for empty holes twice before you lift.",
        ),
        FindingCode(
            "turn-on-sheet",
            ("note",),
            "The template fits the sheet's roll only when it is turned by 90 degrees.",
            "Turn it in your cutting program before you cut.",
        ),
    ),
    "Quote and roll plan": (
        FindingCode(
            "below-cost",
            ("warning",),
            "The price is below what the order costs you.",
            "Raise the margin or the least price in your shop file, or check the costs in it.",
        ),
        FindingCode(
            "no-roll-plan",
            ("warning",),
            "The templates cannot be placed on the sheet's roll, so there is no roll plan.",
            "Do what the message says, most often choose a wider sheet, and make the job again.",
        ),
        FindingCode(
            "no-quote",
            ("note",),
            "The shop file lacks a price, so there is no quote.",
            "Put the price that the message names into your shop file and make the job again.",
        ),
    ),
}
#: All codes by name.
FINDING_CODES: dict[str, FindingCode] = {
    code.name: code for codes in CODES_BY_STEP.values() for code in codes
}
