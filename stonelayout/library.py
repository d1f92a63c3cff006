"""What a program calls: stones on any geometry, rules on artwork, cut files, a proof.

Each function does in one call what a command does, with the same checks and the same errors.
Lengths are numbers in mm, or text with a unit (``"0.5 mm"``, ``"0.02 in"``); y points down.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from .errors import InputError, LayoutError
from .file_sets import write_set
from .files import write_one
from .model.artwork import Artwork
from .model.catalogue import DEFAULT_CUTTER, DEFAULT_SHEET, Catalogue, Sheet, load_catalogue
from .model.job import CUT_FORMATS, Rule, make_rule
from .model.layout import Layout
from .spelling import unknown

#: Endings of the pictures that ``write_proof`` draws.
PROOF_ENDINGS = (".svg", ".html", ".png")


def lay_polygon(
    geometry: Any,
    *,
    stone: str | Sequence[str],
    pattern: str = "courses",
    colour: str = "crystal",
    gap: float | str | None = None,
    pitch: float | str | None = None,
    web: float | str | None = None,
    sheet: str | Sheet = DEFAULT_SHEET,
    strokes: str | None = None,
    catalogue: Catalogue | None = None,
    progress: Callable[[int, int, str], None] | None = None,
    **options: Any,
) -> Layout:
    """Lay stones on polygons or lines of other geometry libraries, in mm.

    ``geometry``: shapely polygons, lines and collections of them, svgpathtools paths, a sequence
    or a mapping from names to such (see `artwork_of`). ``stone`` is a size of the catalogue, or a
    list of sizes where the pattern takes several; give one of ``pitch`` (centre to centre),
    ``gap`` (stone edge to stone edge) and ``web`` (hole edge to hole edge), or none for the
    sheet's least web and a little to spare. ``options`` are those of the pattern, as in a job
    file (``rows=2``, ``margin="0.3 mm"``).

    Returns the layout, its ``centres`` (n, 2) in the coordinates of ``geometry``. Raises
    ArtworkError for geometry that cannot be laid, JobError that lists everything wrong with the
    stones and options, CatalogueError for an unknown sheet, LayoutError when no stone fits.
    """
    from .reading.foreign_geometry import artwork_of

    artwork = artwork_of(geometry)
    catalogue = catalogue or load_catalogue()
    material = _sheet(sheet, catalogue)
    named = {"pitch": pitch, "gap": gap, "web": web, "strokes": strokes}
    given = {name: value for name, value in named.items() if value is not None}
    values = {"stone": stone, "colour": colour, "pattern": pattern, **given, **options}
    rule = make_rule(values, material, catalogue, key="lay_polygon")
    return lay_stones(artwork, [rule], material, catalogue=catalogue, progress=progress)


def lay_stones(
    artwork: Artwork,
    rules: Sequence[Rule],
    sheet: str | Sheet = DEFAULT_SHEET,
    *,
    catalogue: Catalogue | None = None,
    progress: Callable[[int, int, str], None] | None = None,
) -> Layout:
    """Lay stones on artwork by rules (see `make_rule`), the first first.

    ``progress`` is told, before each shape, how many are done, how many there are and the shape's
    id. Returns the layout; its ``findings`` tell what was left out. Raises CatalogueError for a
    colour or sheet that the catalogue lacks, JobError when a rule picks nothing, LayoutError when
    no stone fits.
    """
    from .laying.lay import lay

    catalogue = catalogue or load_catalogue()
    material = _sheet(sheet, catalogue)
    for rule in rules:
        catalogue.rgb(rule.colour)
    return lay(artwork, rules, material, progress)


def write_cut_files(
    layout: Layout,
    folder: str | Path,
    formats: Sequence[str] = ("svg",),
    *,
    sheet: str | Sheet | None = None,
    cutter: str = DEFAULT_CUTTER,
    tile: bool = False,
    catalogue: Catalogue | None = None,
) -> tuple[Path, ...]:
    """Write one file a layer and format, in register, holes in the order of cutting.

    ``formats`` are any of svg, dxf, hpgl and pdf; ``sheet`` goes before the one that the layout
    was laid for; ``tile`` cuts a design larger than the sheet in tiles. All files are written, or
    none, in the place of a former set of files, and SVG files are read back. Returns their paths,
    sorted. It does not judge the layout:
    ask `run_checks` first. Raises CatalogueError for an unknown sheet or cutter, LayoutError for a
    layout without stones or larger than the sheet, InputError for an unknown format and for
    files that cannot be written, VerificationError when a file does not read back as meant.
    """
    from .template.separation import separate
    from .template.tiling import marks_of, pieces
    from .template.verify import verify_tiles
    from .writers.cut_files import cut_files, in_cutting_order

    wanted = [formats] if isinstance(formats, str) else list(formats)
    for form in wanted:
        if form not in CUT_FORMATS:
            raise InputError(unknown(form, CUT_FORMATS, "format"))
    if not wanted:
        raise InputError(f"no format: give any of {', '.join(CUT_FORMATS)}")
    catalogue = catalogue or load_catalogue()
    material = _sheet(sheet or layout.sheet or DEFAULT_SHEET, catalogue)
    tools = material, catalogue.cutter(cutter)
    layers = separate(layout, material)
    contents: dict[str, str | bytes] = {}
    tiles = [
        replace(part, layers=tuple(in_cutting_order(part.layers, part.registration)))
        for part in pieces(layers, material, marks_of(material), tiled=tile)
    ]
    for part in tiles:
        contents |= cut_files(part.layers, part.registration, tools, wanted)[0]
    readable = "svg" in wanted
    write_set(folder, contents, "cut", lambda read: verify_tiles(read, tiles) if readable else None)
    return tuple(Path(folder) / name for name in sorted(contents))


def write_proof(
    layout: Layout,
    file: str | Path,
    *,
    garment: str = "navy",
    title: str = "",
    catalogue: Catalogue | None = None,
) -> Path:
    """Draw the proof that a customer approves, at true size on the garment's colour.

    ``file`` ends in .svg, .html (a page with the layers to switch) or .png (extra ``png``).
    Returns its path. Raises CatalogueError for an unknown garment colour, InputError for another
    ending and a file that cannot be written, MissingExtraError for a PNG without its renderer.
    """
    from .documents.job_documents import png
    from .documents.proof import proof_svg
    from .documents.proof_page import proof_html

    target = Path(file)
    ending = target.suffix.lower()
    if ending not in PROOF_ENDINGS:
        raise InputError(f"end the name in {', '.join(PROOF_ENDINGS)}", file=str(file))
    if not len(layout):
        raise LayoutError("a layout without stones has no proof")
    catalogue = catalogue or load_catalogue()
    cloth, name = catalogue.rgb(garment), title or target.stem
    content: str | bytes
    if ending == ".html":
        content = proof_html(layout, catalogue.colours, cloth, (), name, customer=True)
    else:
        content = proof_svg(layout, catalogue.colours, cloth, (), name, counts=False)
        content = png(content) if ending == ".png" else content
    write_one(target, content)
    return target


def _sheet(sheet: str | Sheet, catalogue: Catalogue) -> Sheet:
    return sheet if isinstance(sheet, Sheet) else catalogue.sheet(sheet)
