"""The files for the cutter: every layer in every format asked, holes in the order of cutting."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from stonelayout.model.catalogue import Cutter, Sheet
from stonelayout.model.layer import Layer, Registration
from stonelayout.template.cut_path import CutTime, Runs, cut_time, ordered, passes_and_overcut, runs

from .layer_dxf import layer_dxf
from .layer_hpgl import layer_hpgl
from .layer_pdf import layer_pdf
from .layer_svg import layer_svg


@dataclass(frozen=True)
class Knife:
    """How holes are cut. None: as the sheet says. Lengths in mm; speed and force as HP-GL has them.

    ``arcs``: whole circles as arcs in HP-GL, else as short lines.
    """

    passes: int | None = None
    overcut: float | None = None
    blade_offset: float = 0.0
    arcs: bool = True
    speed: int | None = None
    force: int | None = None


def _hpgl(_layer: Layer, marks: Registration, way: Runs, knife: Knife) -> str:
    return layer_hpgl(way, marks, arcs=knife.arcs, speed=knife.speed, force=knife.force)


Writer = Callable[[Layer, Registration, Runs, Knife], str | bytes]
#: What writes a layer in each format; ``model.job.CUT_FORMATS`` are their names.
FORMATS: Final[dict[str, Writer]] = {
    "svg": lambda layer, marks, _way, _knife: layer_svg(layer, marks),
    "dxf": lambda layer, marks, _way, _knife: layer_dxf(layer, marks),
    "hpgl": _hpgl,
    "pdf": lambda layer, marks, _way, _knife: layer_pdf(layer, marks),
}


def cut_files(
    layers: Sequence[Layer],
    marks: Registration,
    tools: tuple[Sheet, Cutter],
    formats: Sequence[str],
    knife: Knife | None = None,
) -> tuple[dict[str, str | bytes], list[CutTime]]:
    """Return (file name -> content, time of each layer) for layers already in cutting order.

    One file for each layer and format (``01-ss6-crystal.dxf``); see ``in_cutting_order``.
    """
    knife = knife or Knife()
    sheet, cutter = tools
    passes, overcut = passes_and_overcut(sheet)
    if knife.passes is not None:
        passes, overcut = knife.passes, 0.0 if knife.passes > 1 else sheet.overcut
    if knife.overcut is not None:
        overcut = knife.overcut
    contents: dict[str, str | bytes] = {}
    times = []
    for layer in layers:
        way = runs(layer, marks, passes=passes, overcut=overcut, blade_offset=knife.blade_offset)
        times.append(cut_time(way, marks, cutter))
        for form in formats:
            contents[f"{layer.name}.{form}"] = FORMATS[form](layer, marks, way, knife)
    return contents, times


def in_cutting_order(layers: Sequence[Layer], marks: Registration) -> list[Layer]:
    """Return the layers with their holes in the order of cutting."""
    return [ordered(layer, marks) for layer in layers]
